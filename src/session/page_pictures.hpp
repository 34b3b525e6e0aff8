// Pixels for the eye: what the page and the overlay show of a frame.
#pragma once

#include <string_view>

#include "polewright/evidence.hpp"
#include "polewright/frame.hpp"

namespace polewright::session {

/// The whole frame, averaged down to at most `widest_px` columns and stretched so that faint stars show above a dark
/// sky. Colour-filter positions are balanced against each other first.
[[nodiscard]] GreyPicture preview_of(const Frame& frame, int widest_px = 1600);

/// Five squares of `side_px` pixel for pixel, side by side: centre, top left, top right, bottom left, bottom right; one
/// stretch for all. Frames smaller than the square give an empty picture.
[[nodiscard]] GreyPicture crop_strip(const Frame& frame, int side_px);

/// Side for a night of so many frames: large enough to see star shapes, three side by side fit a phone, and the page of
/// a whole night stays below 8 MB.
[[nodiscard]] int crop_side_px(std::size_t frames);

/// Changes whenever strips look different; older ones are cut anew.
inline constexpr std::string_view kCropsVersion = "1";

}  // namespace polewright::session
