// In which order the sky is searched, given the hints.
#pragma once

#include <vector>

#include "identify/detections.hpp"
#include "identify/search.hpp"
#include "polewright/identify.hpp"

namespace polewright {

/// Searches from the narrowest to the widest; the last ones use no hint. Deadlines are left to the caller.
[[nodiscard]] std::vector<SearchPlan> search_plans(const Detections& detections, const IdentifyHints& hints);

}  // namespace polewright
