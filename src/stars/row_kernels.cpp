#include "stars/row_kernels.hpp"

// Run-time choice needs the loader's indirect functions, which the sanitizers do not survive.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define POLEWRIGHT_CLONES __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define POLEWRIGHT_CLONES
#endif

namespace polewright {

namespace {

// Always inlined, so that each generation's clone gets its own copy.
#define POLEWRIGHT_BODY [[gnu::always_inline]] inline

// With the radius known the sum over taps unrolls and stays in registers.
template <int Radius>
POLEWRIGHT_BODY void row_of(const float* __restrict in, const float* __restrict taps, int n, float* __restrict out) {
  for (int i = 0; i < n; ++i) {
    float sum = taps[0] * in[i];
    for (int k = 1; k <= Radius; ++k) sum += taps[k] * (in[i - k] + in[i + k]);
    out[i] = sum;
  }
}

template <int Radius>
POLEWRIGHT_BODY void column_of(const float* const* rows, const float* __restrict taps, int n, float* __restrict out) {
  const float* row[2 * Radius + 1];
  for (int k = 0; k <= 2 * Radius; ++k) row[k] = rows[k];
  for (int i = 0; i < n; ++i) {
    float sum = taps[0] * row[Radius][i];
    for (int k = 1; k <= Radius; ++k) sum += taps[k] * (row[Radius - k][i] + row[Radius + k][i]);
    out[i] = sum;
  }
}

}  // namespace

POLEWRIGHT_CLONES
void normalise_row(const std::uint16_t* __restrict pixels, int n, float part, const float* __restrict level,
                   const float* __restrict level_step, const float* __restrict inverse_noise,
                   const float* __restrict inverse_noise_step, float* __restrict z) {
  for (int i = 0; i < n; ++i)
    z[i] = (static_cast<float>(pixels[i]) - (level[i] + part * level_step[i])) *
           (inverse_noise[i] + part * inverse_noise_step[i]);
}

POLEWRIGHT_CLONES
void sum_quads(const std::uint16_t* __restrict upper, const std::uint16_t* __restrict lower, int n, int shift,
               std::uint16_t* __restrict out) {
  const std::uint32_t half = (1U << shift) >> 1;
  for (int i = 0; i < n; ++i) {
    const std::uint32_t sum =
        static_cast<std::uint32_t>(upper[2 * i]) + upper[2 * i + 1] + lower[2 * i] + lower[2 * i + 1];
    const std::uint32_t scaled = (sum + half) >> shift;
    out[i] = static_cast<std::uint16_t>(scaled > 65535U ? 65535U : scaled);
  }
}

POLEWRIGHT_CLONES
void convolve_row(const float* __restrict in, const float* __restrict taps, int radius, int n, float* __restrict out) {
  switch (radius) {
    case 2:
      return row_of<2>(in, taps, n, out);
    case 3:
      return row_of<3>(in, taps, n, out);
    case 4:
      return row_of<4>(in, taps, n, out);
    case 5:
      return row_of<5>(in, taps, n, out);
    case 6:
      return row_of<6>(in, taps, n, out);
    default:
      break;
  }
  for (int i = 0; i < n; ++i) out[i] = taps[0] * in[i];
  for (int k = 1; k <= radius; ++k)
    for (int i = 0; i < n; ++i) out[i] += taps[k] * (in[i - k] + in[i + k]);
}

POLEWRIGHT_CLONES
void convolve_column(const float* const* rows, const float* __restrict taps, int radius, int n, float* __restrict out) {
  switch (radius) {
    case 2:
      return column_of<2>(rows, taps, n, out);
    case 3:
      return column_of<3>(rows, taps, n, out);
    case 4:
      return column_of<4>(rows, taps, n, out);
    case 5:
      return column_of<5>(rows, taps, n, out);
    case 6:
      return column_of<6>(rows, taps, n, out);
    default:
      break;
  }
  for (int i = 0; i < n; ++i) out[i] = taps[0] * rows[radius][i];
  for (int k = 1; k <= radius; ++k)
    for (int i = 0; i < n; ++i) out[i] += taps[k] * (rows[radius - k][i] + rows[radius + k][i]);
}

POLEWRIGHT_CLONES
void quantise_row(const float* __restrict in, float scale, int n, std::int16_t* __restrict out) {
  for (int i = 0; i < n; ++i) {
    float v = in[i] * scale;
    v = v > 32767.0F ? 32767.0F : v < -32767.0F ? -32767.0F : v;
    out[i] = static_cast<std::int16_t>(static_cast<int>(v + (v < 0.0F ? -0.5F : 0.5F)));
  }
}

POLEWRIGHT_CLONES
void bin_row(const std::uint16_t* __restrict in, int n, int low, int shift, std::uint8_t* __restrict bins) {
  for (int i = 0; i < n; ++i) {
    const int bin = (in[i] - low) >> shift;
    bins[i] = static_cast<std::uint8_t>(bin < 0 ? 0 : bin > 255 ? 255 : bin);
  }
}

POLEWRIGHT_CLONES
int count_up_to(const std::uint16_t* __restrict in, int n, int value) {
  int count = 0;
  for (int i = 0; i < n; ++i) count += in[i] <= value ? 1 : 0;
  return count;
}

POLEWRIGHT_CLONES
float dot(const float* __restrict a, const float* __restrict b, int n) {
  float sum = 0.0F;
#pragma omp simd reduction(+ : sum)
  for (int i = 0; i < n; ++i) sum += a[i] * b[i];
  return sum;
}

POLEWRIGHT_CLONES
static bool any_above(const float* row, float threshold, int n) {
  int hits = 0;
  for (int i = 0; i < n; ++i) hits += row[i] > threshold ? 1 : 0;
  return hits > 0;
}

int local_maxima(const float* above, const float* row, const float* below, float threshold, int n, int* found) {
  constexpr int kBlock = 64;
  int count = 0;
  for (int start = 0; start < n; start += kBlock) {
    const int end = start + kBlock < n ? start + kBlock : n;
    if (!any_above(row + start, threshold, end - start)) continue;
    for (int i = start; i < end; ++i) {
      const float v = row[i];
      if (!(v > threshold)) continue;
      const bool before = v > above[i - 1] && v > above[i] && v > above[i + 1] && v > row[i - 1];
      const bool after = v >= row[i + 1] && v >= below[i - 1] && v >= below[i] && v >= below[i + 1];
      if (before && after) found[count++] = i;
    }
  }
  return count;
}

}  // namespace polewright
