// Room for the samples of one frame.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace polewright {

/// Reserves room for `count` samples and asks for large pages: taking 48 MB in pages of 4 KB costs as much time as
/// filling them. Where the system has none to give, nothing changes.
void reserve_samples(std::vector<std::uint16_t>& samples, std::size_t count);

}  // namespace polewright
