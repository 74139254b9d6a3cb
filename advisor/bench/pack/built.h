/* What the log tells of the build. `kernels export` writes the digest in; FLAGS comes from
   build.sh, or from your own project: -DFLAGS='"..."', the flags that the kernels are built with. */
#ifndef BUILT_H
#define BUILT_H

#ifndef DIGEST
#define DIGEST "unknown"
#endif
#ifndef FLAGS
#define FLAGS "unknown"
#endif

#if defined __GNUC__
#define COMPILER __VERSION__
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
