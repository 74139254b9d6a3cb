"""The outputs that a page shows, made by running the commands it shows.

A command stands in a comment, its output in the block below it::

    <!-- output of: part-advisor product list -->
    ```text
    ...
    ```

and a file that the reader is to write stands below `<!-- file: NAME -->`. The commands run in a
folder that holds those files and the catalogue.

A table of winners holds a command of `shortlist` in each row, of which the last two columns are
made: who leads, and by how many points before the part that leads in the first row (the next one,
where that is itself first, or out)::

    <!-- winners -->
    | left out | command | leads then | points |
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
from pathlib import Path

FILE = re.compile(r"<!-- file: (?P<name>[\w./-]+) -->\n```\w*\n(?P<text>.*?)^```$", re.M | re.S)
OUTPUT = re.compile(
    r"(?P<head><!-- output of: part-advisor (?P<call>[^\n]+) -->\n```text\n)(?P<text>.*?)^```$",
    re.M | re.S,
)
WINNERS = re.compile(
    r"(?P<head><!-- winners -->\n\|[^\n]+\n\|[-|]+\n)(?P<rows>(?:\|[^\n]+\n)+)", re.M
)
_ROW = re.compile(r"\| (?P<what>[^|]+) \| `part-advisor (?P<call>shortlist [^`|]+)` \|[^\n]*\n")


def run(call_text: str) -> str:
    """Standard output of a call of `part-advisor`, run here.

    Raises
    ------
    RuntimeError
        When the exit code is not 0, with what was said.
    """
    from advisor.cli.main import call

    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        code = call(shlex.split(call_text))
    if code:
        raise RuntimeError(f"part-advisor {call_text}: exit {code}: {said.getvalue()}")
    return out.getvalue()


def write_files(text: str, folder: Path) -> list[Path]:
    """Write the files that a page shows below `folder`."""
    written = []
    for found in FILE.finditer(text):
        path = folder / found["name"]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(found["text"], encoding="utf-8")
        written.append(path)
    return written


def refreshed(text: str, folder: Path) -> str:
    """The page with every shown output made anew; `folder` is where its commands run."""
    write_files(text, folder)
    with contextlib.chdir(folder):
        text = WINNERS.sub(lambda found: found["head"] + winners(found["rows"]), text)
        return OUTPUT.sub(lambda found: f"{found['head']}{run(found['call'])}```", text)


def winners(rows: str) -> str:
    """The rows of a table of winners with their last two columns made anew."""
    out: list[str] = []
    usual = ""
    for found in _ROW.finditer(rows):
        ranking = json.loads(run(f"{found['call']} --format json"))["ranking"]
        scores = {one["part"]: one["score"] for one in ranking}
        first = ranking[0]["part"]
        usual = usual or first
        second = usual if first != usual and usual in scores else ranking[1]["part"]
        by = f"{scores[first] - scores[second]:.1f} before {second}"
        if usual not in scores:
            by = f"{usual} is out; {by}"
        out.append(f"| {found['what']} | `part-advisor {found['call']}` | {first} | {by} |\n")
    return "".join(out)
