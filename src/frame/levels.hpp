// The level at which a frame's samples are cut off, from the samples themselves.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace polewright {

/// The highest sample, when the frame is clipped there: at least 8 pixels have it, more than twice as many as lie in
/// the top twentieth of the range above the median. An unclipped frame has one or two pixels at its maximum and its
/// counts grow downwards. For files that do not say where they saturate: 12-bit cameras in 16-bit files and floats
/// scaled to 1. Nothing when the frame is not clipped, or has less than 100 steps of range (common practice, no
/// source).
std::optional<std::uint16_t> clipping_level(std::span<const std::uint16_t> samples);

}  // namespace polewright
