// Real-valued samples -> 16-bit samples with a linear mapping.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace polewright {

struct Quantised {
  std::vector<std::uint16_t> samples;
  double zero = 0.0, scale = 1.0;    ///< value = zero + scale·sample
  std::vector<std::uint32_t> blank;  ///< indices of values that are not finite; their sample is 0
  std::uint64_t clipped = 0;         ///< values above the range, held at sample 65535
};

/// Whole numbers that span less than 65536 are kept exactly. Otherwise the step is the finest that spans the values;
/// if that is coarser than 0.34 of the pixel noise (rounding then costs 0.34/√12 = 0.098 of it), the step is held
/// there and the brightest values are clipped. `width` is the row length, for the noise estimate.
template <class T>
Quantised quantise(std::span<const T> values, int width);

/// Noise per pixel: 1.4826·median|difference to the second neighbour in the row|/√2, on up to 100 000 pixels. The
/// second neighbour has the same colour under a 2×2 filter. 0 for constant data.
template <class T>
double pixel_noise(std::span<const T> values, int width);

}  // namespace polewright
