//! Where the time of the array kernels goes, and what was tried that did not help. Nothing to call.
//!
//! `python tests/speed/table.py` prints the times: both sides of a row in one run, and the share of what the processor can do at most.
//! Counts of operations were made by hand from the sources and are good to a tenth.
//!
//! # Loss over sets and frequencies
//!
//! [`sweep`](super::sweep) works out once for each frequency what depends on frequency alone (`collapsed`: one complex number for each
//! loop, two and a pair between any two where there are several), by the same vector walk whether frequencies come
//! again or not. A point then costs the sum of its resistances, 9 operations and a logarithm of 35; before it cost two walks of 31 and 19
//! and the ratio. The logarithm takes the deviation from one as it is, so a loss of 1e-12 dB keeps its digits. What is left beside
//! arithmetic: resistances are written to a tile of 512 points and read again, and the answer is written to memory.
//! A large answer is numpy's own memory from the start (`numpy.empty`): it is not set to zero before, and numpy asks the system for large
//! pages, which our own allocation did not. Eight million points took 15 626 page faults and 43 ms of system time beside 59 ms of
//! arithmetic (`getrusage`, before), now 297, 5 and 36 ms: page faults were thought to be why a second thread
//! helped by 1.58 only; without them it helps by 1.60. numpy's closed form
//! takes 31 ms, with AVX-512 where we use AVX2.
//!
//! # Ceilings
//!
//! T1 over many ranges (`cells`): a range costs its cell's number, a sort by cells inside parts of 8192, the ends of the band and
//! one or two polynomials of up to 12 terms with three steps of Newton; a cell costs some enclosures of 12 coefficients once, and a
//! half octave of ranges shares it. Processor time of the whole call on a machine with much other work: 0.46 ms for 100 ranges, which is
//! the cells, 7 ms for 100 000, 142 ms for two million: 70 ns a range. In a first version 4 % of that was the kernel itself
//! (`perf`), the rest gathering, sorting and writing, and there it can still be made shorter.
//! A single range pays for its cell alone: 0.1 ms, where interval by interval it took 0.03. So do sections that differ in more than the range,
//! 0.15 ms each: every one is a network of its own, and only contacts can differ in one call, not sources, leads or loads.
//!
//! T2: enclosures. Of 3.1 ms of processor time a set of three contacts 41 % went into products of jets, 12 % into inverses,
//! 8 % into the elimination (`perf`), after the search of weights had been made to stop at the first frequency that refuses. With one
//! inverse of the EMF for all, single frequencies as jets of one coefficient, and a proof that gives up where the middle of an interval
//! already fails, 2000 sets went from 5.4 to 2.9 s of processor time.
//!
//! # Films in resistive loops
//!
//! [`steady::abreast`](super::steady::abreast) needs one exponential (a bridge: one arctangent) for each instant. A mild film takes 4 to 40 even
//! instants of a quarter period: of 140 ns a tunnelling film the foreseeing of instants takes 11; by the count of operations nine tenths of the rest are
//! roots and a tenth lines. Writing ten harmonics and the other columns adds 30 to 60 ns. A film costs as many even instants as its strip of analyticity
//! asks for (about `1.5 + 11.5/eta`), whatever its law does in between.
//!
//! From 40 even instants on a film goes on instants that stand where its waveform bends: 24 to 128 of them, for eleven lines, where the strip is anything
//! from 0.3 down to 1e-4, so that a stiff film costs a few times a mild one. The nodes are foreseen as `18.5/m`, `m` from the ellipse through the
//! nearest singular point, and some two for each order of the highest line asked for: harmonics that are not asked for cost nothing. Processor
//! time of the whole call a film, ten harmonics written, 20 000 films of 1 to 300 ohm in a loop of 1 kohm (`alone.scaling()` of `tests/speed/table.py`; a machine with much other work on it):
//!
//! | film | 0.5 V, ns | 5 V | 50 V |
//! | --- | --- | --- | --- |
//! | tunnelling, 0.1 V | 213 | 421 | 673 |
//! | rectifying, leak 0.1 | 434 | 872 | 1603 |
//! | bridged | 263 | 642 | 1144 |
//!
//! Before there were graded instants the same films cost 1 to 5 us at 104 to 256 even instants, and past them, alone, 60 to 600 us
//! (235 us on the average of the tunnelling row at 50 V). A hundred harmonics ask for more nodes than there are rules for (480) from some level on: such films
//! still go alone.
//!
//! # How the cost grows
//!
//! Loss: a load and four operations for each further contact. Films: with the instants, which grow with the logarithm of the level once the
//! film is stiff. Harmonics cost only their writing, 16 bytes each, on even instants; on graded ones each line is a sum over the instants and asks
//! for some more of them. Draws and points are worked in chunks of a fixed size, so time is
//! in proportion and memory beside the answer does not grow.
//!
//! # Tried
//!
//! Films, nanoseconds each on one thread of a shared machine (AMD EPYC with AVX-512), best of nine, kernel alone:
//!
//! | what | ns |
//! | --- | --- |
//! | one film after the other, scalar (the direct road; measured on the quiet machine, all of the call) | 2500 |
//! | AVX2, one vector after the other | 161 |
//! | AVX2, two side by side (taken) | 140 |
//! | AVX2, four side by side: they no longer fit the registers | 172 |
//! | AVX-512, one | 101 |
//! | AVX-512, two (not taken: its intrinsics are stable from Rust 1.89 \[memory\], this crate asks for 1.85) | 79 |
//! | AVX-512, four | 116 |
//!
//! * A transform for the lines of many even instants: not needed, as no film that would want it stays there.
//! * A third of the films of that sweep would have met the tolerance on the next smaller table: what the foreseeing gives away.
//! * Loss of one loop as `|1 + R/M|^2`, M once for each frequency that comes again: at first taken back, for answers
//!   differed in the last place with the shape of the arrays. With the same vector walk for every shape it came again, see above.
//! * A scalar call asked Python for numpy each time, which it does not need: 0.92 us of processor time with that
//!   and with 32 lanes worked for one point, 0.49 with neither. What loss sets up beforehand now made it 0.96; 0.66 without table and idle lanes.
//! * `mul_add` of the standard library without the processor's own instruction calls a function: kernels use `pulp`'s, which
//!   multiplies and adds where that is faster.
