"""Exit codes.

0 done; 1 done and the answer is no; 2 the input or the call is wrong and nothing was written; 3 a
fault of the tool itself; 130 interrupted.
"""

NO, WRONG, OURS, INTERRUPTED = 1, 2, 3, 130
TOLD = (
    f"Exit codes: 0 done; {NO} done, and the answer is no; {WRONG} the input or the call is wrong, "
    f"and nothing was written; {OURS} a fault of the tool itself; {INTERRUPTED} interrupted."
)
