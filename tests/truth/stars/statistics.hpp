// Matching of found to rendered stars and the figures the truth tests speak in.
#pragma once

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "polewright/stars.hpp"
#include "truth/stars/render.hpp"

namespace polewright::test {

/// Prints a line of the results table when POLEWRIGHT_RESULTS is set; RESULTS.md is made from these.
template <class... Args>
void result_row(const char* format, Args... args) {
  if (std::getenv("POLEWRIGHT_RESULTS") != nullptr) std::printf(format, args...);
}

struct Matched {
  const RenderedStar* truth;
  const Star* found;
};

/// Each rendered star with the nearest detection within `reach_px`, if any.
inline std::vector<Matched> match(const std::vector<RenderedStar>& truth, const StarList& list, double reach_px) {
  std::vector<Matched> out;
  for (const RenderedStar& t : truth) {
    const Star* best = nullptr;
    double best_px = reach_px;
    for (const Star& s : list.stars) {
      const double d = std::hypot(s.position.x - t.x, s.position.y - t.y);
      if (d < best_px) best = &s, best_px = d;
    }
    if (best) out.push_back({&t, best});
  }
  return out;
}

struct Spread {
  double mean = 0.0, rms = 0.0;
  std::size_t n = 0;
};
inline Spread spread_of(const std::vector<double>& v) {
  Spread s;
  s.n = v.size();
  for (const double x : v) s.mean += x, s.rms += x * x;
  if (s.n > 0) s.mean /= static_cast<double>(s.n), s.rms = std::sqrt(s.rms / static_cast<double>(s.n));
  return s;
}

}  // namespace polewright::test
