"""Linear and mixed-integer programs: the only door to PuLP.

A `Model` is built under the caller's own names, solved, and answered with a `Solution` whose
status is our own. Nothing is believed on the solver's word alone:

* the status is settled before any value is read, and "infeasible or unbounded" is told apart by
  solving once more without the objective;
* bounds, integrality and every constraint are checked again on the numbers that came back;
* rows, columns and objective are scaled by powers of two before they are solved, which changes no
  digit, because a solver's tolerances are absolute and an objective in microamperes would vanish
  in them. The scale is the geometric mean of the magnitudes, which one huge coefficient does not
  carry off, and columns of bounded numbers run to about one.

HiGHS (Huangfu & Hall 2018, doi:10.1007/s12532-017-0130-5) runs in process; CBC, a program of its
own, stands in where HiGHS is missing or fails, and is the second opinion of the tests. Neither
writes to standard output.
"""

from __future__ import annotations

import math
import re
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping
from enum import Enum
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from advisor.dataclass import dataclass, field

Sense = Literal["<=", "=", ">="]
Solver = Literal["highs", "cbc"]

TOLERANCE = 1e-6
"""Largest breach that passes, relative to the row's greatest term."""

_TIGHT = 1e-9  # what HiGHS is asked for: the scaled rows and objective are near one
_NAME_LENGTH = 80
# words and shapes that readers of the LP format take for something else
_RESERVED = re.compile(
    r"(?i)(free|inf(inity)?|min(imi[sz]e)?|max(imi[sz]e)?|s\.?t\.?|subject|such|bounds?|end|"
    r"gen(erals?)?|int(egers?)?|bin(ar(y|ies))?|semis?|sec|sos[12]?|obj|_dummy|e[0-9].*)$"
)


class Status(Enum):
    """How a solve ended."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"  # stopped by the limit, with a point that holds every constraint
    INFEASIBLE = "infeasible"
    UNBOUNDED = "unbounded"
    LIMIT = "limit"  # stopped by the limit, without a point
    FAILED = "failed"


class SolverError(RuntimeError):
    """No solver is at hand, or one returned numbers that break the model: not the user's fault."""


@dataclass(frozen=True, slots=True)
class Solution:
    """The answer to a model.

    Attributes
    ----------
    status : read it first; without a point `objective` is None and the mappings are empty.
    objective : the objective at `values`, recomputed from them.
    bound : no point can have a lower objective than this; -inf where the solver proved nothing.
    values : variable to value; whole numbers are exactly whole.
    duals : constraint to the change of the optimum per unit of its right-hand side. Only for
        an optimum without integer variables. At a degenerate optimum the dual is one of several.
    solver : which solver answered.
    """

    status: Status
    objective: float | None
    bound: float
    values: Mapping[str, float] = field(default_factory=dict)
    duals: Mapping[str, float] = field(default_factory=dict)
    solver: Solver = "highs"

    @property
    def solved(self) -> bool:
        """Whether there is a point to read."""
        return self.status in (Status.OPTIMAL, Status.FEASIBLE)


@dataclass(frozen=True, slots=True)
class _Variable:
    lower: float
    upper: float
    integer: bool

    def nearest_to_zero(self) -> float:
        value = min(max(0.0, self.lower), self.upper)
        return (
            float(math.ceil(value) if value > 0 else math.floor(value)) if self.integer else value
        )


@dataclass(frozen=True, slots=True)
class _Row:
    terms: Mapping[str, float]
    sense: Sense
    rhs: float

    def excess(self, values: Mapping[str, float]) -> float:
        """By how much the row is broken, relative to its greatest term; 0 when it holds."""
        products = [a * values[name] for name, a in self.terms.items()]
        gap = math.fsum([*products, -self.rhs])
        broken = {"<=": max(gap, 0.0), ">=": max(-gap, 0.0), "=": abs(gap)}[self.sense]
        sizes = [abs(self.rhs), *map(abs, products), *map(abs, self.terms.values())]
        return broken / max(sizes) if broken else 0.0


@dataclass(slots=True)
class _Answer:
    """What a solver said, in the caller's units."""

    status: Status
    values: dict[str, float] = field(default_factory=dict)
    duals: dict[str, float] = field(default_factory=dict)
    bound: float = -math.inf


class Model:
    """A linear program, or a mixed-integer one, that minimises.

    Names are the caller's, any text; they are made fit for the LP format inside.
    """

    def __init__(self, name: str = "model") -> None:
        self._name = name
        self._variables: dict[str, _Variable] = {}
        self._rows: dict[str, _Row] = {}
        self._objective: dict[str, float] = {}

    def variable(
        self,
        name: str,
        lower: float = 0.0,
        upper: float = math.inf,
        integer: bool = False,
    ) -> None:
        """Add a variable between `lower` and `upper`, either of which may be infinite.

        Raises
        ------
        ValueError
            For a name used twice, a bound that is not a number, or bounds that leave nothing.
        """
        if name in self._variables:
            raise ValueError(f"variable {name!r} is there already")
        if not lower <= upper or lower == math.inf or upper == -math.inf:
            raise ValueError(f"variable {name!r}: nothing lies between {lower} and {upper}")
        if integer and math.isfinite(lower) and math.ceil(lower) > upper:
            raise ValueError(f"variable {name!r}: no whole number from {lower} to {upper}")
        self._variables[name] = _Variable(float(lower), float(upper), integer)

    def constraint(self, name: str, terms: Mapping[str, float], sense: Sense, rhs: float) -> None:
        """Add the constraint: sum of coefficient times variable, `sense`, `rhs`.

        Raises
        ------
        ValueError
            For a name used twice, a variable that is not there, an unknown sense, or a
            coefficient or right-hand side that is not finite.
        """
        if name in self._rows:
            raise ValueError(f"constraint {name!r} is there already")
        if sense not in ("<=", "=", ">="):
            raise ValueError(f"constraint {name!r}: sense {sense!r} is none of <=, =, >=")
        if not math.isfinite(rhs):
            raise ValueError(f"constraint {name!r}: right-hand side {rhs}")
        self._rows[name] = _Row(self._terms(f"constraint {name!r}", terms), sense, float(rhs))

    def minimise(self, terms: Mapping[str, float]) -> None:
        """Set the objective, in place of an earlier one. Without one, any feasible point will do.

        Raises
        ------
        ValueError
            For a variable that is not there or a coefficient that is not finite.
        """
        self._objective = self._terms("objective", terms)

    def rows(self) -> Iterator[tuple[str, Sense, float, Mapping[str, float]]]:
        """Every constraint: name, sense, right-hand side, terms."""
        for name, row in self._rows.items():
            yield name, row.sense, row.rhs, row.terms

    def columns(self) -> tuple[Mapping[str, float], Mapping[str, tuple[float, float]]]:
        """The objective's terms, and each variable's lower and upper bound."""
        return self._objective, {k: (v.lower, v.upper) for k, v in self._variables.items()}

    def is_whole(self, name: str) -> bool:
        """Whether a variable takes whole numbers only."""
        return self._variables[name].integer

    def _terms(self, where: str, terms: Mapping[str, float]) -> dict[str, float]:
        for name, coefficient in terms.items():
            if name not in self._variables:
                raise ValueError(f"{where}: no variable {name!r}")
            if not math.isfinite(coefficient):
                raise ValueError(f"{where}: coefficient {coefficient} of {name!r}")
        return {name: float(a) for name, a in terms.items() if a != 0}

    # ------------------------------------------------------------------------------- solving

    def solve(self, seconds: float, solver: Solver = "highs", gap: float = 1e-9) -> Solution:
        """Minimise within a time limit.

        Parameters
        ----------
        seconds : limit on the solver's time, s.
        solver : which to ask first; CBC stands in for HiGHS where that is missing or fails.
        gap : relative distance from the bound at which a mixed-integer search may stop.

        Raises
        ------
        ValueError
            For a limit or a gap that is not a number, or a limit of nothing.
        SolverError
            When no solver is at hand, or the numbers that came back break the model.
        """
        if not (seconds > 0 and math.isfinite(seconds)):
            raise ValueError(f"a time limit of {seconds} s")
        if not (gap >= 0 and math.isfinite(gap)):
            raise ValueError(f"a gap of {gap}")
        deadline = time.monotonic() + seconds
        order: tuple[Solver, ...] = ("highs", "cbc") if solver == "highs" else ("cbc",)
        asked: Solver | None = None
        for name in order:
            if _available(name):
                asked = name
                answer = self._ask(name, deadline, gap)
                if answer.status is not Status.FAILED:
                    return self._checked(answer, name)
        if asked is None:
            raise SolverError(f"no solver is installed: {' and '.join(order)} are missing")
        return Solution(Status.FAILED, None, -math.inf, solver=asked)

    def _ask(self, solver: Solver, deadline: float, gap: float) -> _Answer:
        """One solver's answer, with "infeasible or unbounded" told apart."""
        answer = self._run(solver, deadline, gap, self._objective)
        sure = answer.status is Status.INFEASIBLE and solver == "highs"
        if answer.status in (Status.INFEASIBLE, Status.UNBOUNDED) and self._objective and not sure:
            # presolve may stop at "one of the two": any feasible point says which
            plain = self._run(solver, deadline, gap, {}).status
            found = plain in (Status.OPTIMAL, Status.FEASIBLE)
            return _Answer(Status.UNBOUNDED if found else plain)
        return answer

    def _run(
        self, solver: Solver, deadline: float, gap: float, objective: Mapping[str, float]
    ) -> _Answer:
        if any(row.excess({}) > 0 for row in self._rows.values() if not row.terms):
            return _Answer(Status.INFEASIBLE)
        used = {n for row in self._rows.values() for n in row.terms} | set(objective)
        rest = {n: v.nearest_to_zero() for n, v in self._variables.items() if n not in used}
        if not used:
            return _Answer(Status.OPTIMAL, rest, dict.fromkeys(self._rows, 0.0), 0.0)
        program = _Program(self, objective, scaled=True)
        seconds = max(deadline - time.monotonic(), 0.01)
        answer = program.highs(seconds, gap) if solver == "highs" else program.cbc(seconds, gap)
        if answer.status in (Status.OPTIMAL, Status.FEASIBLE):
            answer.values |= rest
        return answer

    def _checked(self, answer: _Answer, solver: Solver) -> Solution:
        """The solution, once the returned numbers are shown to hold."""
        if answer.status not in (Status.OPTIMAL, Status.FEASIBLE):
            bound = math.inf if answer.status is Status.INFEASIBLE else answer.bound
            return Solution(answer.status, None, bound, solver=solver)
        values = {name: self._settled(name, answer.values) for name in self._variables}
        for name, row in self._rows.items():
            excess = row.excess(values)
            if not excess <= TOLERANCE:
                raise SolverError(f"{solver} broke constraint {name!r} by {excess:.1e} of its size")
        objective = math.fsum(a * values[n] for n, a in self._objective.items())
        whole = any(v.integer for v in self._variables.values())
        bound = answer.bound if whole or answer.status is Status.FEASIBLE else objective
        duals: dict[str, float] = {}
        if answer.status is Status.OPTIMAL and not whole:
            duals = {name: answer.duals.get(name, 0.0) + 0.0 for name in self._rows}
        return Solution(
            status=answer.status,
            objective=objective + 0.0,
            bound=min(bound, objective) + 0.0,
            values=values,
            duals=duals,
            solver=solver,
        )

    def _settled(self, name: str, values: Mapping[str, float]) -> float:
        """A returned value, whole where it must be and inside its bounds."""
        variable, value = self._variables[name], values.get(name, math.nan)
        if not math.isfinite(value):
            raise SolverError(f"variable {name!r} came back as {value}")
        if variable.integer:
            whole = float(round(value))
            if abs(value - whole) > TOLERANCE:
                raise SolverError(f"variable {name!r} came back as {value}, not whole")
            value = whole
        inside = min(max(value, variable.lower), variable.upper)
        if abs(inside - value) > TOLERANCE * max(1.0, abs(inside)):
            raise SolverError(f"variable {name!r} came back as {value}, out of its bounds")
        return inside + 0.0

    def text(self) -> str:
        """The model in the LP file format, as PuLP writes it: variables and rows in order of name.

        Variables that are in no row and not in the objective are left out.
        """
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "model.lp")
            _Program(self, self._objective, scaled=False).problem.writeLP(
                str(path), max_length=_NAME_LENGTH + 20
            )
            return path.read_text(encoding="utf-8")


class _Program:
    """A model as PuLP sees it."""

    def __init__(self, model: Model, objective: Mapping[str, float], scaled: bool) -> None:
        import pulp

        # the private names are ours: they state what the program is made of, for this file only
        self.whole = any(v.integer for v in model._variables.values())
        self.rows = {k: r for k, r in model._rows.items() if r.terms}
        self.columns = _fit_names(model._variables)
        self.names = _fit_names(self.rows)
        # a whole number stays whole; a fraction runs to about one
        self.width = {
            k: _width(v) if scaled and not v.integer else 1.0 for k, v in model._variables.items()
        }
        width = self.width
        sized = {k: {n: a * width[n] for n, a in r.terms.items()} for k, r in self.rows.items()}
        objective = {n: a * width[n] for n, a in objective.items()}
        self.scale = {k: _scale(r.values()) if scaled else 1.0 for k, r in sized.items()}
        self.unit = _scale(objective.values()) if scaled else 1.0
        title = _fit_names({model._name: None})[model._name]
        self.problem: Any = pulp.LpProblem(title, pulp.LpMinimize)
        self.variables: dict[str, Any] = {
            k: self.problem.add_variable(
                self.columns[k],
                v.lower / width[k] if math.isfinite(v.lower) else None,
                v.upper / width[k] if math.isfinite(v.upper) else None,
                pulp.LpInteger if v.integer else pulp.LpContinuous,
            )
            for k, v in model._variables.items()
        }
        costs = {self.variables[k]: a / self.unit for k, a in objective.items()}
        self.problem.setObjective(pulp.LpAffineExpression(costs))
        senses = {
            "<=": pulp.LpConstraintLE,
            "=": pulp.LpConstraintEQ,
            ">=": pulp.LpConstraintGE,
        }
        for k, row in self.rows.items():
            size = self.scale[k]
            terms = {self.variables[name]: a / size for name, a in sized[k].items()}
            self.problem.addConstraint(
                pulp.LpConstraint(
                    pulp.LpAffineExpression(terms), senses[row.sense], self.names[k], row.rhs / size
                )
            )

    def highs(self, seconds: float, gap: float) -> _Answer:
        """Ask HiGHS, in process."""
        import highspy
        import pulp

        solver = pulp.HiGHS(
            msg=False,
            timeLimit=seconds,
            gapRel=gap,
            gapAbs=0.0,
            threads=1,
            primal_feasibility_tolerance=_TIGHT,
            dual_feasibility_tolerance=_TIGHT,
            mip_feasibility_tolerance=_TIGHT,
        )
        self.problem.solve(solver)
        # PuLP calls a point at the time limit optimal, feasible or not: ask HiGHS itself
        solved: Any = self.problem.solverModel
        said, info = solved.getModelStatus(), solved.getInfo()
        ends = highspy.HighsModelStatus
        point = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        bound = info.mip_dual_bound * self.unit if self.whole else -math.inf
        if said == ends.kOptimal:
            return _Answer(Status.OPTIMAL, self._values(), self._duals(), bound)
        if said in (ends.kInfeasible, ends.kUnbounded, ends.kUnboundedOrInfeasible):
            infeasible = said == ends.kInfeasible
            return _Answer(Status.INFEASIBLE if infeasible else Status.UNBOUNDED)
        if said in (
            ends.kTimeLimit,
            ends.kIterationLimit,
            ends.kSolutionLimit,
            ends.kInterrupt,
        ):
            if point:
                return _Answer(Status.FEASIBLE, self._values(), bound=bound)
            return _Answer(Status.LIMIT, bound=bound)
        return _Answer(Status.FAILED)

    def cbc(self, seconds: float, gap: float) -> _Answer:
        """Ask CBC, a process of its own that talks through files."""
        import pulp

        with tempfile.TemporaryDirectory() as folder:
            solver = _cbc(seconds, gap, folder)
            try:
                self.problem.solve(solver)
            except pulp.PulpSolverError:
                return _Answer(Status.FAILED)
        status, kind = self.problem.status, self.problem.sol_status
        if status == pulp.LpStatusInfeasible:
            return _Answer(Status.INFEASIBLE)
        if status == pulp.LpStatusUnbounded:
            return _Answer(Status.UNBOUNDED)
        if status == pulp.LpStatusNotSolved:
            return _Answer(Status.LIMIT)
        if status != pulp.LpStatusOptimal:
            return _Answer(Status.FAILED)
        values = self._values()
        if kind != pulp.LpSolutionOptimal:
            return _Answer(Status.FEASIBLE, values)
        objective = float(pulp.value(self.problem.objective) or 0.0) * self.unit
        return _Answer(Status.OPTIMAL, values, self._duals(), objective - gap * abs(objective))

    def _values(self) -> dict[str, float]:
        known = {k: v.varValue for k, v in self.variables.items()}
        return {k: float(v) * self.width[k] for k, v in known.items() if v is not None}

    def _duals(self) -> dict[str, float]:
        rows = {name: self.problem.get_constraint_by_name(name) for name in self.names.values()}
        return {
            k: float(rows[name].pi or 0.0) * self.unit / self.scale[k]
            for k, name in self.names.items()
        }


def _available(solver: Solver) -> bool:
    if solver == "cbc":
        return _cbc(1.0, 0.0, None) is not None
    return find_spec("highspy") is not None


def _cbc(seconds: float, gap: float, folder: str | None) -> Any:
    """The command of the CBC that PuLP brings, or of one on the path; None without either."""
    import pulp

    brought = getattr(getattr(pulp, "PULP_CBC_CMD", None), "pulp_cbc_path", None)
    for path in (brought, "cbc"):
        if path is not None:
            solver = pulp.COIN_CMD(
                path=path, msg=False, timeLimit=seconds, gapRel=gap, gapAbs=0.0, threads=None
            )
            if solver.available():
                if folder is not None:
                    solver.tmpDir = folder
                return solver
    return None


def _scale(numbers: Iterable[float]) -> float:
    """The power of two that brings the geometric mean of the magnitudes to about one.

    By the greatest of them one huge coefficient would push the others below a solver's tolerance.
    """
    powers = [math.frexp(a)[1] for a in numbers if a]
    return 2.0 ** round(math.fsum(powers) / len(powers)) if powers else 1.0


def _width(variable: _Variable) -> float:
    """The power of two that brings a bounded variable to about one."""
    greatest = max(abs(variable.lower), abs(variable.upper))
    return 2.0 ** math.frexp(greatest)[1] if 0 < greatest < math.inf else 1.0


def _fit_names(names: Mapping[str, Any]) -> dict[str, str]:
    """Each name made fit for the LP format, all different, in as few changes as will do."""
    taken: set[str] = set()
    fit: dict[str, str] = {}
    for name in names:
        stem = re.sub(r"[^A-Za-z0-9_.]", "_", name)[:_NAME_LENGTH]
        if not stem or stem[0] in "0123456789." or _RESERVED.match(stem):
            stem = f"n_{stem}"
        candidate, count = stem, 1
        while candidate.lower() in taken:
            count += 1
            candidate = f"{stem}_{count}"
        taken.add(candidate.lower())
        fit[name] = candidate
    return fit
