// Colour-filter patterns from their names.
#pragma once

#include <optional>
#include <string_view>

#include "polewright/frame.hpp"

namespace polewright {

/// 'RGGB' and its three relatives, in reading order; nothing for anything else.
std::optional<Mosaic> mosaic_from_name(std::string_view name);
/// The pattern seen from (dx, dy): result.at(x, y) == pattern.at(x + dx, y + dy).
Mosaic shifted(const Mosaic& pattern, int dx, int dy);

}  // namespace polewright
