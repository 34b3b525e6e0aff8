#include "identify/chance.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright {

double log10_binomial_tail(int trials, int hits, double p) {
  if (hits <= 0 || p >= 1.0) return 0.0;
  if (hits > trials || p <= 0.0) return -1e9;
  const double n = trials;
  const auto log_term = [&](double k) {
    return std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0) + k * std::log(p) +
           (n - k) * std::log1p(-p);
  };
  // Terms relative to the largest of them: the first, or the one at the mode when the tail contains it.
  const double top = std::max<double>(hits, std::floor((n + 1.0) * p));
  const double largest = log_term(std::min(top, n));
  double sum = 0.0;
  for (int k = hits; k <= trials; ++k) {
    const double term = log_term(k) - largest;
    sum += std::exp(term);
    if (k > top && term < -40.0) break;
  }
  return std::min(0.0, (largest + std::log(sum)) / std::numbers::ln10);
}

}  // namespace polewright
