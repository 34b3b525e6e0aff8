// How likely a fitted frame is an accident.
#pragma once

#include <cstdint>

#include "identify/detections.hpp"
#include "identify/grow.hpp"

namespace polewright {

/// log10 of the probability that as good an agreement arises by accident somewhere among `tried` poses.
///
/// Among the n brightest stars the pose puts on the frame, the number that meet a detection is binomial when nothing
/// agrees. The chance of one meeting is measured on the frame itself, by moving the predicted places aside: clumped
/// detections then count for what they are. Stars that the fan and the fitted lens terms have used up are taken off on
/// both sides; n is chosen for the lowest probability, and the number of choices and of poses tried is charged.
[[nodiscard]] double log10_chance(const Grown& grown, const Detections& detections, const Grower& grower,
                                  std::uint64_t tried);

}  // namespace polewright
