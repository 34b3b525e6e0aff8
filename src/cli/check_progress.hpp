// Progress of a long run: count, rate, time left.
#pragma once

#include <deque>
#include <optional>
#include <utility>

#include "polewright/session.hpp"

namespace polewright::cli {

/// How fast a count grows, over the last ten seconds: a night's remembered frames pass in a moment, and say nothing of
/// how long the others take.
class Pace {
 public:
  /// Counts per second once a second has passed and something was done; `now_s` must not go back.
  [[nodiscard]] std::optional<double> after(double now_s, std::size_t done);

 private:
  std::deque<std::pair<double, std::size_t>> seen_;
};

/// A line that rewrites itself on a terminal; silent when `quiet` or when standard error is none.
[[nodiscard]] Progress check_progress(bool quiet);

}  // namespace polewright::cli
