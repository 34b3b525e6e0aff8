// The inner loops of detection over one row of pixels, in a form the compiler turns into vector code; compiled for
// several processor generations and chosen when the program starts.
#pragma once

#include <cstdint>

namespace polewright {

/// z = (pixel − level)·inverse_noise, where both are linear between the tile centres above (0) and below (1) the row:
/// level[i] + part·level_step[i], and the same for the inverse noise.
void normalise_row(const std::uint16_t* pixels, int n, float part, const float* level, const float* level_step,
                   const float* inverse_noise, const float* inverse_noise_step, float* z);

/// out[i] = the sum of columns 2i and 2i+1 of two rows, divided by 2^shift, rounded and clipped to 16 bits.
void sum_quads(const std::uint16_t* upper, const std::uint16_t* lower, int n, int shift, std::uint16_t* out);

/// out[i] = Σ_k taps[k]·(in[i−k] + in[i+k]) with taps[0] counted once; `in` has `radius` valid samples on both sides.
void convolve_row(const float* in, const float* taps, int radius, int n, float* out);

/// The same down a column: rows[radius] is the middle of 2·radius+1 row pointers.
void convolve_column(const float* const* rows, const float* taps, int radius, int n, float* out);

/// out = in·scale, rounded and clipped to 16 bits.
void quantise_row(const float* in, float scale, int n, std::int16_t* out);

/// bins[i] = (in[i] − low) >> shift, clipped to 0…255.
void bin_row(const std::uint16_t* in, int n, int low, int shift, std::uint8_t* bins);

/// How many of n samples are not above a value.
int count_up_to(const std::uint16_t* in, int n, int value);

/// Σ a[i]·b[i] in single precision.
float dot(const float* a, const float* b, int n);

/// Positions i in [0, n) with row[i] above the threshold, not below any of its eight neighbours and above the four
/// that come before it in reading order, so that equal neighbours give one maximum. The rows have one valid sample
/// on both sides. Returns how many were written.
int local_maxima(const float* above, const float* row, const float* below, float threshold, int n, int* found);

}  // namespace polewright
