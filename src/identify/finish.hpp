// From a believed match to the Identification: projection, refraction, planets, residuals.
#pragma once

#include "identify/grow.hpp"
#include "polewright/identify.hpp"

namespace polewright {

[[nodiscard]] Identification finish(Grown grown, double log10_chance, const Detections& detections,
                                    const Grower& grower, const IdentifyHints& hints);

}  // namespace polewright
