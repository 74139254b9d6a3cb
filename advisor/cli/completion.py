"""`completion`: what makes a shell complete commands, options, ids and paths of figures."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer


class Shell(StrEnum):
    """Shells that are served."""

    BASH = "bash"
    ZSH = "zsh"
    FISH = "fish"


SCRIPTS = {
    Shell.BASH: """\
_part_advisor() {
    local line
    COMPREPLY=()
    while IFS= read -r line; do
        COMPREPLY+=("$line")
    done < <(PART_ADVISOR_COMPLETE=bash COMP_LINE="$COMP_LINE" COMP_POINT="$COMP_POINT" \\
        COMP_WORDBREAKS="$COMP_WORDBREAKS" "$1" 2>/dev/null)
    if [[ ${#COMPREPLY[@]} -eq 1 && ${COMPREPLY[0]} == *[.:=,] ]]; then
        compopt -o nospace 2>/dev/null
    fi
}
complete -o default -F _part_advisor part-advisor
""",
    Shell.ZSH: """\
#compdef part-advisor
_part_advisor() {
    local line tab=$'\\t'
    local -a whole begun shown started
    while IFS= read -r line; do
        if [[ ${line%%$tab*} == *[.:=,] ]]; then
            begun+=("${line%%$tab*}"); started+=("${line//$tab/  -- }")
        else
            whole+=("${line%%$tab*}"); shown+=("${line//$tab/  -- }")
        fi
    done < <(PART_ADVISOR_COMPLETE=zsh "${words[1]}" "${(@Q)words[2,CURRENT]}" 2>/dev/null)
    if (( ${#whole} + ${#begun} == 0 )); then
        _files
        return
    fi
    (( ${#whole} )) && compadd -l -d shown -- "${whole[@]}"
    (( ${#begun} )) && compadd -S '' -l -d started -- "${begun[@]}"
    return 0
}
if [[ ${funcstack[1]} == _part_advisor ]]; then
    _part_advisor "$@"
else
    compdef _part_advisor part-advisor
fi
""",
    Shell.FISH: """\
function __part_advisor
    set -l words (commandline -opc) (commandline -ct)
    set -l found (env PART_ADVISOR_COMPLETE=fish $words[1] $words[2..-1] 2>/dev/null)
    if test (count $found) -eq 0
        __fish_complete_path (commandline -ct)
    else
        printf '%s\\n' $found
    end
end
complete -c part-advisor -f -a '(__part_advisor)'
""",
}


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command()(completion)


def completion(
    shell: Annotated[Shell, typer.Argument(help="The shell.", show_default=False)],
) -> int:
    r"""Print what makes a shell complete words. Ids and paths behind --set too.

    Put `eval "$(part-advisor completion bash)"` into ~/.bashrc, `eval "$(part-advisor completion
    zsh)"` into ~/.zshrc behind compinit, or `part-advisor completion fish | source` into
    ~/.config/fish/config.fish.

    Example: part-advisor completion bash
    """
    from advisor.cli.streams import write_out

    write_out(SCRIPTS[shell])
    return 0
