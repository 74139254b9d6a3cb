/* What the log tells of the build. `kernels export` writes the digest in. PACK_FLAGS comes from
   build.sh, or from your own project: -DPACK_FLAGS='"-Os ..."', what it builds the kernels with. */
#ifndef BUILT_H
#define BUILT_H

#ifndef PACK_DIGEST
#define PACK_DIGEST "unknown"
#endif
#ifndef PACK_FLAGS
#define PACK_FLAGS "unknown"
#endif

#if defined __GNUC__
#if defined __clang__
#define COMPILER __VERSION__ /* which names itself there */
#else
#define COMPILER "gcc " __VERSION__
#endif
#if defined __OPTIMIZE_SIZE__
#define OPTIMISED "size"
#elif defined __OPTIMIZE__
#define OPTIMISED "speed"
#else
#define OPTIMISED "none"
#endif
#else
#define COMPILER "unknown"
#define OPTIMISED "unknown"
#endif

#endif
