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
//! arithmetic (`getrusage`, before), now 297, 5 and 36 ms: page faults are why a second thread helped by 1.58 only. numpy's closed form
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
//! [`steady::abreast`](super::steady::abreast) needs one exponential (a bridge: one arctangent) for each instant, on 4 to 256 instants of a quarter period. Of 140 ns a tunnelling film
//! the foreseeing of instants takes 11; by the count of operations nine tenths of the rest are roots and a tenth lines. Writing ten harmonics and
//! the other columns adds 30 to 60 ns. A film costs as many instants as its strip of analyticity asks for (about `1.5 + 11.5/eta`), whatever its law does
//! in between. Above 256 instants it goes the road of single films, a hundred times slower: a stiff law at a high level.
//!
//! A rectifying film needs the whole half period and a bridge its arctangent. Processor time of the whole call a film, one run of
//! `tests/speed/table.py` before and after (1 to 300 ohm in a loop of 1 kohm at 0.5 V): rectifying 10.7 us alone, 0.49 abreast; bridged
//! 2.43 and 0.23; tunnelling 0.22. What grows is the tail: at 104 to 256 instants a film takes 1 to 5 us, most of it for its lines, and past
//! them, alone, 100 to 600 us (a diode with a leak of 1e-3 from 2 V on; a bridge of more than 300 ohm there).
//!
//! # How the cost grows
//!
//! Loss: a load and four operations for each further contact. Films: with the instants, and past
//! them with the square of the instants for the lines (table, no transform: a transform pays from some hundred instants on).
//! Harmonics cost only their writing, 16 bytes each. Draws and points are worked in chunks of a fixed size, so time is
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
//! * A third of the films of that sweep would have met the tolerance on the next smaller table: what the foreseeing gives away.
//! * Loss of one loop as `|1 + R/M|^2`, M once for each frequency that comes again: at first taken back, for answers
//!   differed in the last place with the shape of the arrays. With the same vector walk for every shape it came again, see above.
//! * A scalar call asked Python for numpy each time, which it does not need: 0.92 us of processor time with that
//!   and with 32 lanes worked for one point, 0.49 with neither.
//! * `mul_add` of the standard library without the processor's own instruction calls a function: kernels use `pulp`'s, which
//!   multiplies and adds where that is faster.
