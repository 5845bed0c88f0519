//! Where the time of the array kernels goes, and what was tried that did not help. Nothing to call.
//!
//! `python tests/speed/table.py` prints the times: both sides of a row in one run, and the share of what the processor can do at most.
//! Counts of operations were made by hand from the sources and are good to a tenth.
//!
//! # Loss over sets and frequencies
//!
//! [`sweep`](super::sweep) works out once for each frequency what depends on frequency alone (`collapsed`: of one loop alone two real
//! numbers, where there are several two complex numbers for each and one between any two), by the same vector walk whether frequencies
//! come again or not. A point of one loop by itself then costs two multiplications and an addition for what its power deviates from one, and a
//! logarithm of about 30 operations that takes the deviation as it is, so that a loss of 1e-12 dB keeps its digits. In a row of
//! frequencies with resistances of its own the sum of these is one number, nothing is copied, and whether every deviation of the
//! row has a logarithm is known from the ends of the table before it is begun; elsewhere resistances are written to a tile of 512 points
//! and read again. A logarithm waits for its own results, a division among them, longer than a processor looks ahead: a tile goes by two
//! loops, each half as long, with what is between them in the nearest cache. With numbers alone and memory left out one loop of two vectors
//! side by side took 1.4 to 1.8 ns a point, of four 1.3 to 1.6, two loops 1.1 to 1.2 (AMD EPYC with AVX2, by a loop of its own that
//! is not in this tree). What is left between the sum of parts and the call is what other work leaves of the caches and the time until the
//! second thread is awake: 0.75 to 0.85 ms for 800 000 points back to back, 1.0 ms where numpy's closed form ran in between, 1.4 to 1.9 ms
//! after 10 ms of sleep (by a loop that is not in this tree).
//!
//! Many rows of the same frequencies, each at one resistance of one loop, need no logarithms (`collapsed::rows`): within a piece of the resistances the
//! loss is eight terms. Rows of a piece go two at a time in a chunk: a term is loaded once for both, as eight loads a vector are as much work as its eight multiply-adds, and
//! the terms stay in the nearest cache. Back to back, old and new in turns, 1.3 to 1.6 ms of logarithms became 0.5 to 0.6 for 800 000 points, and 0.4 to 0.6
//! two rows at a time (by loops that are not in this tree; the table prints 0.6 to 1.0 on a restless machine). Between other work it is memory: 9 ms of nothing but waiting beforehand make 0.5 ms into 1.1, of
//! both threads, and `fill` of as much memory by numpy goes from 0.3 to 0.5 or 0.8 ms likewise (a neighbour has the third cache by then). What such a call waits
//! for then are its stores (`perf`). A first piece whose terms follow
//! from those of the loss, as in the others, was 6e-15 off near nothing; moved from nothing it is 1e-15.
//!
//! Of 8 million losses new memory is a quarter of the time in one thread, two fifths in two: the system sets 64 MB of it to zero. An array that is there (`out=`) saves that: 13.5 to 17 ms in one thread
//! became 10 to 13, 9 to 12 in two 5.5 to 7.5 (by loops that are not in this tree; the table has both).
//!
//! Two thirds of what was won before were calls: closures that are bound by `let`, handed to `array::from_fn`, or handed on as
//! `&mut impl FnMut`, are functions without the processor's own instructions where the compiler does not put them in place, and then each vector
//! operation inside is a call. None of them stays out of line now in what `pip` builds: [`lanes`](crate::physics::lanes) writes its two vectors out, which also
//! halved the time that this crate takes to compile. `nm` of a library that is not stripped shows such calls: there must be no
//! symbol `_mm256_...`.
//!
//! A call of a few points pays for what is done with its arguments: numpy was imported, asked for an array, its type, one in C order with float64,
//! each by name. An array that is ready is taken as it is now: 13 us became 1.7 for one frequency, 33 became 3.3 with three contacts as arrays
//! (best of 7 times 2 000 calls, by a loop that is not in this tree).
//!
//! A large answer is numpy's own memory from the start (`numpy.empty`): it is not set to zero before, and numpy asks the system for large
//! pages, which our own allocation did not. The columns of films are memory that nobody has touched (`alloc_zeroed`), so that its pages
//! come to the threads that write them; before, one thread set them to zero block by block, 72 bytes a film, while the others waited.
//!
//! # Threads
//!
//! The thread that calls works with the others and takes the first part at once; they join in when the system has woken them (`cores`). Parts are
//! handed out one by one, so who comes late takes fewer. Before, each long call began a thread, so that Ctrl-C stayed alive, and that one
//! waited for the threads of a pool: the loss above took 3.3 ms between other work, and takes 1.5. Now the caller asks for signals between two
//! parts, every 20 ms.
//!
//! # Ceilings
//!
//! Sections of coils, capacitors and resistances (`supply`): what is asked of a cut is linear in five numbers, all of them polynomials in the square
//! of the frequency, of as many powers as there are coils and capacitors. A set of ranges walks its section once for these, and once more for
//! the bound of the rounding; ten octaves are then shifts of two short polynomials, and the harmonics their values. 2 000 sets of three
//! contacts took 1.9 s by enclosures, weights searched; under `1/Delta` 6.5 ms by walks of every quarter octave with a parabola of each, 3.3 or
//! 2.1 with Bernstein coefficients of octaves, 0.6 to 0.7 with one walk for the whole band; and 13 to 17 with weights searched again, a hundred
//! walks a set or fewer, loops beside each other moved together: bounds 0.2 % lower than by enclosures at the median, 3.4 % at most, 0.1 % higher at worst.
//! 5 000 sections that differ in another contact took 598 ms, each with enclosures of its own, then 1.9 ms, now 0.5 to 0.9; one alone 0.2
//! ms, now 4 to 7 us (loops of calls that are not in the tree; `tests/speed/table.py` has its own). Points that came one by one into the columns were a third of that, and
//! closures left out of line once more, each of their operations a call, an eighth.
//!
//! T1 over very many ranges of one loop (`cells`): a range costs its cell's number, a place in the order of the cells that are used, inside parts of 2048 whose
//! answers stay near, the ends of the band and one or two polynomials of up to 12 terms with three steps of Newton; a cell costs some
//! enclosures of 12 coefficients once, and a half octave of ranges shares it. 100 000 ranges took 8 ms, now 2.0 to 3.8 on the same
//! restless machine; 0.5 ms of it are the cells. Of the old time a quarter went into checking the numbers that came in (an index with each),
//! an eighth into asking for each of 20 200 cells whether any of the parts had used it, another into numbers of 64 bits
//! for statuses of ten kinds. The kernel itself is a twelfth.
//!
//! T2 otherwise (several sections, across the signal, shared returns, direct currents, a loudspeaker, equalisation): enclosures. Of 3.1 ms of processor time a set of three contacts 41 % went into products of jets, 12 % into inverses,
//! 8 % into the elimination (`perf`), after the search of weights had been made to stop at the first frequency that refuses. With one
//! inverse of the EMF for all, single frequencies as jets of one coefficient, and a proof that gives up where the middle of an interval
//! already fails, 2000 sets went from 5.4 to 2.9 s of processor time.
//!
//! # Films in resistive loops
//!
//! [`steady::abreast`](super::steady::abreast) needs one exponential (a bridge: one arctangent) for each instant. A mild film takes 4 to 40 even
//! instants of a quarter period: of 140 ns a tunnelling film the foreseeing of instants takes 11; by the count of operations nine tenths of
//! the rest are
//! roots and a tenth lines. Writing ten harmonics and the other columns adds 30 to 60 ns. A film costs as many even instants as its strip
//! of analyticity
//! asks for (about `1.5 + 11.5/eta`), whatever its law does in between.
//!
//! From 40 even instants on a film goes on instants that stand where its waveform bends: 24 to 128 of them, for eleven lines, where the
//! strip is anything
//! from 0.3 down to 1e-4, so that a stiff film costs a few times a mild one. The nodes are foreseen as `18.5/m`, `m` from the ellipse through the
//! nearest singular point, and some two for each order of the highest line asked for: harmonics that are not asked for cost nothing. Processor
//! time of the whole call a film, ten harmonics written, 20 000 films of 1 to 300 ohm in a loop of 1 kohm (`alone.scaling()` of
//! `tests/speed/table.py`; a machine with much other work on it):
//!
//! | film | 0.5 V, ns | 5 V | 50 V |
//! | --- | --- | --- | --- |
//! | tunnelling, 0.1 V | 213 | 421 | 673 |
//! | rectifying, leak 0.1 | 434 | 872 | 1603 |
//! | bridged | 263 | 642 | 1144 |
//!
//! Before there were graded instants the same films cost 1 to 5 us at 104 to 256 even instants, and past them, alone, 60 to 600 us
//! (235 us on the average of the tunnelling row at 50 V). A hundred harmonics ask for more nodes than there are rules for (480) from some
//! level on: such films
//! still go alone.
//!
//! # Films behind reactances
//!
//! Of the time of 2 000 films behind a cartridge (`reactive` of the table: 68 ms) six tenths were roots, one instant after another in plain
//! numbers (`perf`). All instants of a wave go side by side now (`steady::reflect`), by the laws in lanes that resistive loops had
//! already, and what the root leaves of law and slope is not worked out a second time: 27 to 34 ms. Of what is left the films are a tenth,
//! the network at each line another, transforms and GMRES the rest.
//!
//! # Assess
//!
//! A small sheet of four contacts took 75 ms without draws: half of it 256 samples for each of 19 films of every contact and channel, a quarter the least residue that
//! is heard, found again for every line of what was heard. The films by the road of many, one at a time, and an answer kept for each level made that 15 ms. With its default
//! draws it took 290 ms, of which half went into tables of what a film does (648 films each, one after another); side by side, 96 ms (by loops that are not
//! in this tree; more draws are `alone.draws()` of the table).
//!
//! # How the cost grows
//!
//! Loss: a load and an addition for each further contact of a loop, nothing in a row of frequencies; four operations for each further loop
//! and all before it. Films: with the instants, which grow with the logarithm of the level once the
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
//! * Stores past the caches (`movnt`, `unsafe`) for rows of a loss: 800 000 points between other work 0.94 ms became 0.99, and their sum taken afterwards made 1.33 ms into 1.47,
//!   as whoever reads next waits instead; 8 million into an array that is there 5.8 to 7.2 ms became 6.2 to 6.6, into new memory 11 to 12 became 10 to 13. In a
//!   program of its own without numpy's large pages they had saved a quarter. This and the next two by loops that are not in this tree.
//! * All rows of a piece one after the other over the whole answer: as fast back to back, but scattered rows wait longer for memory that is not near.
//! * Threads that take runs of 2 MiB, not to be in one large page of new memory together: 7 % of 8 million losses, nothing of fewer.
//! * A transform for the lines of many even instants: not needed, as no film that would want it stays there.
//! * A third of the films of that sweep would have met the tolerance on the next smaller table: what the foreseeing gives away.
//! * Loss of one loop as `|1 + R/M|^2`, M once for each frequency that comes again: at first taken back, for answers
//!   differed in the last place with the shape of the arrays. With the same vector walk for every shape it came again, see above.
//! * Vectors side by side as a loop over any number of them: each operation of a kernel is then a loop of its own when the compiler takes it in, and
//!   one file took it more than nine minutes. Written out for two: 83 s for the library, 256 s by closures (debug information left out of the first).
//! * A logarithm without a division (a multiplication in its place, to see): 1.8 to 1.9 ns in place of 1.6; the division hides behind the rest.
//! * Its polynomial by Horner's rule in place of pairs: within the noise.
//! * A scalar call asked Python for numpy each time, which it does not need: 0.92 us of processor time with that
//!   and with 32 lanes worked for one point, 0.49 with neither. What loss sets up beforehand then made it 0.96; 0.66 without table and idle
//!   lanes. One frequency with the contacts
//!   as they are does not go by columns at all now: 0.51 to 0.94 us on a machine where it was 1.64.
//! * `mul_add` of the standard library without the processor's own instruction calls a function: kernels use `pulp`'s, which
//!   multiplies and adds where that is faster.
//! * How it is compiled, while kernels had closures (`tests/speed/table.py --quick` on wheels built with `CARGO_PROFILE_RELEASE_LTO` and
//!   `CARGO_PROFILE_RELEASE_CODEGEN_UNITS`, one
//!   afternoon): `lto = "off"` leaves closures of vector code outside the functions that may use the processor's instructions: 58 ms for
//!   the loss of 800 000
//!   points, 112 ms for 20 000 films. Thin with four units, which this crate had: 3.4 and 2.7 ms, a closure of the loss left outside again.
//!   Cargo's own profile (no `lto`, 16 units): 1.6 and 2.9 ms.
