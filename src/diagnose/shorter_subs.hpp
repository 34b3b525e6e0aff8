// How long one could have exposed, and what that would have saved.
#pragma once

#include <optional>
#include <vector>

#include "diagnose/ledger.hpp"

namespace polewright::diagnose {

struct ShorterSubs {
  /// Exposure up to which axis, rate and worm together stay within the tolerance at every moment of the sequence.
  /// Nothing when no such motion was found. What falls on single frames (gusts, slips) does not count: no exposure is
  /// short enough for those.
  std::optional<double> longest_sharp_s;
  std::optional<double> saved_by_longest, saved_by_half;  ///< shares of the trailed frames
};

[[nodiscard]] ShorterSubs shorter_subs(const Ledger& ledger, const std::vector<FrameFinding>& frames);

}  // namespace polewright::diagnose
