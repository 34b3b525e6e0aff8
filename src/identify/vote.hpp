// A pose from the attitude of a neighbouring frame: the shift most star pairs vote for.
#pragma once

#include <optional>

#include "identify/detections.hpp"
#include "identify/field.hpp"
#include "identify/grow.hpp"
#include "identify/pose.hpp"

namespace polewright {

/// Seed for growing when the frame's stars are those of `near`, shifted by up to 0.3 of the half diagonal and turned
/// little. Nothing when no shift stands out.
[[nodiscard]] std::optional<Seed> vote_for_shift(const Detections& detections, const Catalogue& catalogue,
                                                 const Pose& near);

}  // namespace polewright
