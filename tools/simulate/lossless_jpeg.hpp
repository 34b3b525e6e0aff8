// Lossless JPEG (ITU-T T.81 process 14, SOF3) as camera raws use it: two interleaved components per row of a mosaic.
#pragma once

#include <cstdint>
#include <vector>

namespace polewright::simulate {

/// Whole stream from SOI to EOI. Width must be even. `precision` is the number of bits of a sample.
[[nodiscard]] std::vector<std::uint8_t> lossless_jpeg(const std::vector<std::uint16_t>& samples, int width, int height,
                                                      int precision);

}  // namespace polewright::simulate
