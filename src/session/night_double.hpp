// Frames on which every star stands twice: the field leapt during the exposure and rested before and after.
#pragma once

#include <optional>

#include "polewright/stars.hpp"

namespace polewright::session {

/// Offset between the two images of every star, when a large part of the stars stands twice by the same offset (up to
/// 60 px) and chance does not explain it. A leap shorter than about two star widths merges the images and shows as a
/// trail.
[[nodiscard]] std::optional<PixelPoint> doubled_by(const StarList& stars);

}  // namespace polewright::session
