// Which stars lie close to which.
#pragma once

#include <cstdint>
#include <vector>

#include "polewright/stars.hpp"

namespace polewright {

/// For each star the others within `reach_px`, as indices. Cost grows with the number of stars and neighbours only.
std::vector<std::vector<std::uint32_t>> neighbours_within(const std::vector<Star>& stars, double reach_px);

}  // namespace polewright
