//! The bounds: what no contact can do, with proofs, and the versions of them that are false.
//!
//! # Setting
//!
//! A chain is linear and passive in each section, but for its contacts; stages between the sections are linear. At every
//! instant contact `k` has a chord `v/i` in `[Rmin, Rmax]`: any law, any memory, any vibration. `Rmid` and `Delta` are the
//! middle and half of the range. A signal has lines at frequencies `w`; `<.>` is the average over time, `|i|` an rms value.
//! The tone stands at `w1`. The output has passed the equalisation and the analyser's band; direct current in it is no residue.
//!
//! **The one identity.** At every instant `(v - Rmin i)(Rmax i - v) >= 0`, for both factors have the sign of `i`. With
//! `e = v - Rmid i` it reads `e^2 <= Delta^2 i^2`, and by Parseval
//!
//! `sum over all w of |e_w|^2 <= Delta^2 sum over all w of |i_w|^2`.  (1)
//!
//! That is all that is used of a contact. It makes no difference whether the signal is periodic: any signal with an average
//! power spectrum will do. The idea is that of the circle criterion and of small gain (Zames, On the input-output stability of
//! time-varying nonlinear feedback systems, IEEE Trans. Autom. Control 11, 1966; Desoer and Vidyasagar, Feedback Systems:
//! Input-Output Properties, 1975; both \[memory\]); here it bounds distortion instead of proving stability.
//!
//! # T1: one contact, or several in one loop ([`ceiling`](super::ceiling))
//!
//! Let `M` be the impedance of the loop seen from the contact and `T` the output per contact current. Off the tone there is
//! no drive, so `e = -(M + Rmid) i` there. Put into (1):
//!
//! `sum over w != w1 of D |i_w|^2 <= Delta^2 |i_1|^2 - |e_1|^2`, `D = |M + Rmid|^2 - Delta^2`.  (2)
//!
//! `D = |M|^2 + (Rmin + Rmax) Re M + Rmin Rmax >= 0` by passivity, so leaving lines out of the sum (direct current, what the
//! output does not pass) is allowed. As `|y_w|^2 = |T|^2 |i_w|^2 <= (sup |T|^2/D) D |i_w|^2` and `|y_1| = |T_1| |i_1|`,
//!
//! `residue / fundamental <= sup over w != w1 of |T/T_1| Delta / sqrt(D)`.
//!
//! Contacts of one loop carry one current: their chords add, and so do their ranges. For a steady film `w` runs over the
//! multiples of `w1`; a contact that jumps at random, or at a part of the tone's frequency, has all of the band. **Tight**:
//! attacks reach 0.98 of it at the median, and in a resistive loop a contact that jumps reaches all of it.
//!
//! **Across the signal** a contact has the chord `i/v` in `[1/Rmax, 1/Rmin]`, and the same holds with admittances.
//!
//! **Direct current.** `I0` through the contact is one more driven line: `Delta^2 (|i_1|^2 + I0^2) - |e_1|^2` on the right of
//! (2). What the contact makes of `I0` at `w1` acts against the loop's EMF `E = (M + Rmid) i_1 + e_1`. With `|e_1| = b` and
//! `|i_1| >= (E - b)/|M + Rmid|` the right side over `|i_1|^2` is at most `Delta^2 (1 + (I0^2 - b^2/Delta^2) |M + Rmid|^2 /
//! (E - b)^2)`, largest at `b = Delta^2 I0^2/E`: the bound grows by `sqrt(1 + |M + Rmid|^2 I0^2/(E^2 - Delta^2 I0^2))`, and from
//! `Delta I0 = E` on there is none. Across the signal `(i_0 - Gmin v_0)(Gmax v_0 - i_0)` is at most `Delta^2 I0^2/(Gmin Gmax)`
//! whatever `v_0` is, so that `I0 sqrt(Rmin Rmax)` stands for the direct voltage.
//!
//! **The supremum** is not searched on a grid: every quantity is a ratio of polynomials in `s`, enclosed over whole intervals
//! with a bound of the rounding (`response::jet`), and intervals are halved until the upper bound is within `1e-11` of a value
//! that is reached, or within what rounding leaves. The bound that is returned is the upper one. Over arrays of ranges the
//! same is proved for whole cells of ranges at once, since `D/|T|^2` is affine in `Rmin + Rmax` and `Rmin Rmax`: see `response::cells`.
//!
//! # T2: several contacts anywhere ([`ceiling_many`](super::ceiling_many))
//!
//! Write (1) for each contact, with weights `p_k > 0` in one sum. With the other names of that page, off the tone `i = G e`,
//! so with `x = W e`: `sum over w != w1 of x^H (1 - K^H K) x <= |W Delta i_1|^2 - |x_1|^2`. Where the bracket is positive
//! definite at every frequency, leaving lines out is allowed, and `|y|^2 = |g x|^2 <= lambda x^H (1 - K^H K) x` (Cauchy and
//! Schwarz). On the tone eliminate the EMF: `E = (y_1 - g x_1)/t`, hence `W Delta i_1 = c y_1 - Q x_1`, and
//! `|c y_1 - Q x_1|^2 - |x_1|^2` is largest at `x_1 = -(1 - Q^H Q)^-1 Q^H c y_1`, where it is `c^H (1 - Q Q^H)^-1 c |y_1|^2`.
//! Within one section the weights `1/Delta` always make the first bracket non-negative, by passivity: with `x` the voltage across what
//! moves of a contact it is `sum |x|^2/Delta` and twice the losses. Eliminated contact by contact, source to load, that is a walk of five
//! polynomials of the frequency's square, whose page has the steps (`response::supply`); for other weights each pivot is one of them.
//! Contacts of several sections are contacts of one network whose `G` goes one way. **Nearly tight**: every single
//! inequality can be met, but one contact cannot be at its worst at every frequency where the others are; attacks reach
//! 0.91 to 0.95 at the median, 0.86 to 0.89 through an equaliser. It takes the place of an earlier bound that carried the ratio from section to
//! section with suprema taken apart: that is never smaller here, by a factor of 1.02 to 77 on 36 random chains of two sections.
//!
//! **A shared return.** Two equal channels have an even and an odd mode; a contact in the common return is excited by and
//! excites the even one alone. Driven alike, both channels play one tone: no new line is driven, only the tone's current
//! changes. The twin of a moving contact is a contact of its own. If the other channel plays another programme its lines are
//! driven lines too: **refused** (`OtherProgramme`), for what is residue and what is crosstalk is then a matter of definition.
//!
//! # T3: two tones ([`ceiling_two_tone`](super::ceiling_two_tone))
//!
//! (2) with all driven lines on the right, the currents eliminated as on its page. For given `i` the least `|z|` is
//! `||M + Rmid| i - E|/Delta`, so `(1 - |z|^2) i^2 <= n(i)`; `n(i) - m u i^2` (`u`: weight of the tone in the reference times
//! `|T|^2`) is a parabola in `i` with the largest value `E^2 (1 - m u)/(D + m u Delta^2)`, which falls with `m`; the least
//! `m` with a sum of at most zero is found by bisection. Sums of two lines by Cauchy and Schwarz. **Tight** in rms.
//!
//! **`d2` and `d3`** by energies alone are not: a contact adds at most `Delta |i(t)|` **at every instant**, and of that only the
//! mean with a wave `w(t)` of the wanted lines counts, at most `Delta mean |w i|`; energies know `Delta rms(w) rms(i)`. The ratio
//! is 0.76 and 0.83 for `d2` and `d3` of equal tones, 0.87 and 0.75 of 4:1 (resistive loop, small swings, worst phases). So
//! they are weighed in time ([`weighted_in_time`](super::ceiling_two_tone)), no direct current through the contact:
//!
//! Let `Z = M + Rmid`, and on the tones `i0 = conj(Z) E/D`, `e0 = -Delta^2 E/D`, so that `Z i0 + e0 = E`; everywhere `i = i0 + d`,
//! `e = e0 - Z d`. The inequality of (1) holds at every instant, so for any weight `lambda(t) >= 0`, with lines at `w_j` and mean one,
//! `<lambda (Delta^2 i^2 - e^2)> >= 0`. A product has the level `|T/Z| |e_w|`, the upper tone `|T/Z| |E - e_w| >= |T/Z| (|E| - Re e_w)`
//! in the phase of `E`. Hence `sum of levels - m (upper tone) <= <e w> - m |T/Z| |E|` with a wave `w(t)` whose lines are the products with
//! `|T/Z|` in the phases that suit them, and the upper tone with `m |T/Z|` in that of `E`. Add half of the weighed inequality:
//!
//! `<e w> <= <lambda (Delta^2 i0^2 - e0^2)>/2 + <e0 w> + <l a> - F/2`, `F = <lambda ((Z d)^2 - Delta^2 d^2)>`,  (3)
//!
//! `a = sqrt(D) d` turned by the phase of `Z`, line by line, and `l` what stands beside it. In these `F` couples lines `w_j` apart by
//! `lambda_j kappa`, and with the phases of `Z` turned out `kappa = (|Z Z'| - Delta^2 exp(j alpha))/sqrt(D D')`. Two identities:
//! `|conj(Z) Z' - Delta^2|^2 - D D' = Delta^2 |Z - Z'|^2`, so `|kappa|^2 = 1 + sinh^2 d` with `sinh d = Delta |Z - Z'|/sqrt(D D')`; and
//! `(|Z Z'| - Delta^2)^2 - D D' = Delta^2 (|Z| - |Z'|)^2`, so `Re kappa >= 1`. Together `|kappa - 1|^2 <= sinh^2 d`: `F` is
//! `<lambda a^2>` but for an operator whose norm is at most `epsilon = sum over j != 0 of |lambda_j| sup sinh d`, however reactive and
//! however high the lines. `d` is a distance, so the supremum over all frequencies `w_j` apart is that of an integral, enclosed from zero to
//! infinity ([`drift`](super::ceiling_two_tone) in the sources). Where `lambda > epsilon` the square is completed at every instant:
//!
//! `<l a> - F/2 <= <l^2/(lambda - epsilon)>/2`.
//!
//! `lambda` may be scaled: with `l = l_w + s l_i`, parts of the wave and of the tones, the best `s` leaves `V = sqrt(P R) + X`, `P =
//! <lambda (Delta^2 i0^2 - e0^2)> + <l_i^2/(lambda - epsilon)>`, `R = <l_w^2/(lambda - epsilon)>`, `X = <e0 w> + <l_w l_i/(lambda - epsilon)>`.
//! If `V(m) <= m |T/Z| |E|` in all phases of the products, `m` bounds the ratio. `lambda = 1` is the bound by energies, so it is never
//! passed. In a resistive loop `epsilon = 0`, and `lambda = |w|/|i|` would reach the mean of `|w i|`; two to twelve cosines are taken, several
//! weights are tried, and every pair of arcs takes the one that proves least.
//!
//! What keeps it safe: `V` is a norm of `w` and a linear part, so convex: on an arc of phases it is at most its largest value on
//! the corners of a polygon around the arc, and every arc may have a `lambda` of its own. `1/(lambda - epsilon)` is a finite sum `nu` over
//! `1 - rho`, where the lines of `nu (lambda - epsilon) - 1` sum to `rho < 1`: then it is above the inverse at every instant, and `lambda -
//! epsilon` has no zero. So all means are finite sums of lines at `k1 f1 + k2 f2`. Where the tones have so small a common ratio
//! that two of these meet, what they can add to each mean is added with its magnitude.
//!
//! It is **nearly tight** (see the table): in a resistive loop attacks reach the mean of `|w i|`, which is 0.87 to 0.95 of the bound
//! for small swings. It is least so where reactances make the loop change much between the lines: there `epsilon` takes
//! the gain away, and what is left is the bound by energies. The first-order mean `Delta mean |w i|`, without what the contact makes
//! of its own residue, is a false version: passed by 22 % in a loop that resonates between the lines.
//!
//! # T4, T5: chains without reactances, and music ([`ceiling_resistive`](super::ceiling_resistive))
//!
//! There `y = g(t) x`, `gmin <= g <= gmax`. Averages with the weight `x^2`: the best copy is `mean(g) x`, the whole output
//! `mean(g^2)`, and from `(g - gmin)(gmax - g) >= 0` follows `mean(g^2) <= (gmin + gmax) mean(g) - gmin gmax`, hence
//! `mean(g^2)/mean(g)^2 <= (gmin + gmax)^2/(4 gmin gmax) = cosh^2(rho/2)` (Kantorovich, Functional analysis and applied
//! mathematics, Uspekhi Mat. Nauk 3, 1948 \[memory\]), with `rho = ln(gmax/gmin)`. Residue over copy is `sqrt(cosh^2 - 1)`, over
//! the whole output `sqrt(1 - 1/cosh^2)`. **Reached**. With reactances there is no single gain: refused.
//!
//! # T6, T7, T8
//!
//! **T6** is T4 in decibels, `rho = dB ln 10/20`. **T7** ([`loss_disc`](super::loss_disc)): the left side of (2) is not
//! negative, so `|e_1| <= Delta |i_1|`: for one tone and no direct current the describing impedance lies in a disc. On its rim
//! there is no residue. **T8** ([`millivolt`](super::millivolt)): off the tone `i = -v/M`, so `|y_w| = |T/M| |v_w|`; not an
//! inequality about the contact at all, but about the rest of the loop. It is as tight as the spectrum of the voltage is near
//! the largest `|T/M|`.
//!
//! Line by line T8 is an equation: a band that holds one harmonic, and the volts of that harmonic across the contact, give its level
//! at the output. A reading with an uncertainty goes in at its upper end.
//!
//! # T9: ohms and millivolts together ([`ceiling_by_readings`](super::ceiling_by_readings))
//!
//! Of a route some contacts are read in ohms, others in millivolts. T1 of the first and T8 of the second must **not** simply be
//! added where they share a section: a contact read in millivolts drives the others, at frequencies that no meter
//! saw, and they fold that into the band. What saves the sum is that it is passive. Replace every contact by its voltage
//! (substitution). Off the tone `i = -Y v`, `y = -h v`; on it `i_1 = a E - Y v_1`. With `Re v^H Y v >= 0` the powers that the
//! contacts take off the tone sum to at most zero, so over all lines `sum_k <v_k i_k>` is at most its part on the tone
//! (Tellegen's theorem is the sum \[memory\]). Every term is at least zero, and `v (R i - v) >= 0` makes it at least
//! `<v_k^2>/R_k` for a contact between zero and `R_k`. Hence
//!
//! `sum_k sum over w != w1 of |v_k|^2/R_k <= S = sum_k (Re v_k1* i_k1 - |v_k1|^2/R_k) + sum_b Re v_b1* i_b1`,
//!
//! `k` those in ohms, `b` those in millivolts, whose powers off the tone were left out. `E` eliminated, `i_1 = c y_1 + N v_1`, `c =
//! a/t`, `N = c h - Y`: for given `v_b1` the right side is a quadratic form in the `v_k1`, with a largest value if `1/R - Re N` is
//! positive definite, and no bound if it is not. Then `|y| <= sum_b sup |h_b| |v_b| + sqrt(sup sum_k R_k |h_k|^2) sqrt(S)` by the
//! triangle inequality and by Cauchy and Schwarz, and a contact whose fundamental is `b_b` of its `V_b` has `sqrt(V_b^2 -
//! b_b^2)` left for the rest. `V_b` is asked of the band and of the tone only. In one loop, with `A = R |i_1|/2` and `B = V` across:
//! `sqrt(A^2 + 2 A b) + sqrt(B^2 - b^2) <= sqrt 2 (A + B)`. **Nearly tight**: 0.94 at the median in one loop, 0.87 in two. No attack
//! has passed `A + B` itself: what is above it is what the proof needs, and may not be needed.
//!
//! Over stages: millivolts in later sections than all ohms never meet them, T2 and T8 add (a later contact may take some
//! of the tone, which is counted). Millivolts **before** ohms, or beside ohms behind ohms: **no sum**, for then the
//! section is driven off the tone too, by what is unknown outside the meter's band. Read the later ones in millivolts as well: all in
//! millivolts always add.
//!
//! # The chord rule
//!
//! `Rmax` is the largest chord up to the peak voltage in use, both polarities. A reading with at most 20 mV says nothing of more:
//! a rectifier blocks far more than it showed. So from a dry reading `assess` takes the chord that the worst rectifying film of
//! the bench priors behind that reading has at the peak of this signal (`high_in_use_ohm` of a range of readings), and a reading that is
//! not dry bounds nothing from above. Both sides are tested: a film below the false ceiling's ohms passes it and stays below the true
//! one; at a signal no larger than the meter's the reading grows by a few percent at most; read with volts it bounds nothing.
//!
//! # Where there is no ceiling
//!
//! A contact in series that can open, or across the signal that can short; a direct current as above; a contact in a feedback
//! loop, a supply or a bias network, which no section describes and which is refused where it is put into one. A nonlinear load
//! makes distortion of a perfectly linear contact: observe on a resistive dummy. A test walks over every role and every bound: a
//! number, or a status with its sentence.
//!
//! # False versions, kept as tests that show them fail
//!
//! * suprema of `|T|` and of `1/sqrt(D)` apart: no bound at all where capacitances stand on both sides of the contact;
//! * the sum of the sections' ceilings, and a bound that looks at the analyser's band alone: both are passed;
//! * the dry resistance of a rectifier as its largest chord; no direct current; direct current beside the undisturbed tone.
//! * a bound of T2 whose weights are proved inside the band alone: passed, at 2.6 times of it, by what lies below the band;
//! * the discs of T7 for each of two tones on its own, and for `d2` the mean of `|w i|` with the currents of the linear loop: see T3.
//!
//! # How near attacks come
//!
//! [`attack`](super::attack) climbs over contacts that jump; others that share no code with this crate are in `tests/python`. The
//! figure shows the first on random invented circuits (`python -m weaklink.attacks --circuits 24 --figure
//! src/response/attacks.svg`), the table the median share of the bound that the second reach, and the most (`pytest
//! tests/python -k "attack or music"` prints it; nothing passes 1).
//!
//! | bound | median | most |
//! | --- | --- | --- |
//! | T1, harmonics and any chatter | 0.983 to 0.992 | 0.9999 |
//! | T2, two contacts of a section | 0.923 | 0.996 |
//! | T3, rms, 4:1 and equal tones | 0.992, 0.989 | 0.998 |
//! | T3, `d2` and `d3` of 4:1 | 0.920, 0.851 | 0.951, 0.881 |
//! | T3, `d2` and `d3` of equal tones | 0.882, 0.866 | 0.900, 0.871 |
//! | T2 through a stage, flat and RIAA (T4 with reactances) | 0.898, 0.860 | 0.982, 0.979 |
//! | T4, T5, T6 resistive | reached | 1.000 |
//! | T7, radius of the disc, most and least loss | 0.995, 0.992 | 0.99997 |
//! | T8, reactive and flat loop | 0.915, 0.997 | 0.99994 |
//! | T9, one loop and two | 0.944, 0.867 | 0.994 |
//!

#![doc = include_str!("attacks.svg")]

#[cfg(test)]
mod tests;
