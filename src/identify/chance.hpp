// How likely a number of coincidences is when nothing agrees.
#pragma once

namespace polewright {

/// log10 of the probability of at least `hits` successes in `trials` independent ones of probability `p` each.
/// Sums the terms of the binomial tail; 0 for hits ≤ 0.
[[nodiscard]] double log10_binomial_tail(int trials, int hits, double p);

}  // namespace polewright
