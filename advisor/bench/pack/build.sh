#!/bin/sh
# Builds the pack as `part-advisor kernels verify` does, and tells the log by which flags.
# For a board say in the environment: CC, the compiler; MACHINE, your processor's flags; PORT, your
# port and start-up code; LINK, your linker's flags; OPTIONS, such as -DSETTLE=50000; CHOSEN, which
# kernels, such as -DKERNELS_SMALL or "-DKERNEL_CRC -DKERNEL_HASH", none for all.
set -eu
cd "$(dirname "$0")"
FLAGS="@FLAGS@${MACHINE:+ $MACHINE}"
# flags are words: unquoted on purpose
exec ${CC:-cc} $FLAGS "-DPACK_FLAGS=\"$FLAGS\"" -Wall -Wextra -I. ${CHOSEN-@CHOSEN@} ${OPTIONS:-} \
    *.c ${PORT:-ports/host.c} ${LINK:-} -o run
