"""What joins the keys of a product's calendar: names of times, phases before use."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from advisor.catalogue.kinds import PAIR, TRIPLE
from advisor.catalogue.records import Catalogue
from advisor.catalogue.schema_life import ASLEEP, DISCONNECTED
from advisor.catalogue.schema_product import Product
from advisor.faults import nearest

# (dotted path, what was read, the nearest valid word or None)
Breach = tuple[str, str, str | None]
Breaches = Callable[[Product, Catalogue], Iterator[Breach]]


def _missing(product: Product, _: Catalogue) -> Iterator[Breach]:
    bare = [time.time for time in product.times if not time.environment]
    if not product.environment:
        if not product.times:
            yield "environment", "nothing", None
        for time in bare:
            yield f"times.{time}.environment", "nothing", None
    for task in product.workload:
        if not task.periods:
            yield f"workload.{task.task}.every", "nothing", None
    for phase in product.before_use:
        for key, stated in (
            ("for", phase.duration),
            ("environment", phase.environment or None),
            ("state", phase.state),
        ):
            if stated is None:
                yield f"before-use.{phase.phase}.{key}", "nothing", None


def _twice(product: Product, _: Catalogue) -> Iterator[Breach]:
    if product.environment and product.times and all(t.environment for t in product.times):
        yield "environment", "an environment, and every time has its own", None


def _times(product: Product, _: Catalogue) -> Iterator[Breach]:
    names = tuple(time.time for time in product.times)
    for name in names:
        if name in PAIR | TRIPLE:
            # {low: 2 min, high: 9 min} is how a figure tells its spread
            yield f"times.{name}", f'"{name}", which a spread is written with', None
    for task in product.workload:
        if isinstance(task.every, Mapping):
            for name in task.every:
                if name not in names:
                    read = f'"{name}"' if names else f'"{name}", and the product has no times'
                    yield f"workload.{task.task}.every.{name}", read, nearest(name, names)


def _used(product: Product, _: Catalogue) -> Iterator[Breach]:
    for task in product.workload:
        for name in task.use_retries:
            if name not in task.uses:
                path = f"workload.{task.task}.use-retries.{name}"
                yield path, f'"{name}"', nearest(name, tuple(task.uses))


def _states(product: Product, catalogue: Catalogue) -> Iterator[Breach]:
    if not product.before_use or catalogue.unread():
        return
    known = {name for part in catalogue.parts.values() for name in part.sleep_states}
    words = (DISCONNECTED, ASLEEP, *sorted(known))
    for phase in product.before_use:
        if phase.state is not None and phase.state not in words:
            near = nearest(phase.state, words)
            yield f"before-use.{phase.phase}.state", f'"{phase.state}"', near


# words, what breaks them, and whether what is named may stand in a file that was not read
FAULTS: tuple[tuple[str, Breaches, bool], ...] = (
    ("this figure: absent is never zero", _missing, False),
    ("the product's environment for times that have none of their own", _twice, False),
    ("the name of one of the product's times", _times, False),
    ("a block that the task uses", _used, False),
    (
        f"{DISCONNECTED}, {ASLEEP} or a sleep state of some part",
        _states,
        True,
    ),
)
