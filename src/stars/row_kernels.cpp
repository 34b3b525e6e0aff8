#include "stars/row_kernels.hpp"

// Run-time choice needs the loader's indirect functions, which the sanitizers do not survive.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__)
#define POLEWRIGHT_CLONES __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define POLEWRIGHT_CLONES
#endif

namespace polewright {

POLEWRIGHT_CLONES
void normalise_segment(const std::uint16_t* __restrict pixels, int n, const LinearPair& level,
                       const LinearPair& inverse_noise, float* __restrict z) {
  constexpr int kWide = 16;  // one vector of the widest generation
  float l[kWide], ls[kWide], v[kWide], vs[kWide];
  for (int j = 0; j < kWide; ++j) {
    const auto p = static_cast<std::size_t>(j & 1);
    l[j] = level.base[p] + level.slope[p] * static_cast<float>(j);
    ls[j] = level.slope[p];
    v[j] = inverse_noise.base[p] + inverse_noise.slope[p] * static_cast<float>(j);
    vs[j] = inverse_noise.slope[p];
  }
  int i = 0;
  for (; i + kWide <= n; i += kWide) {
    const auto at = static_cast<float>(i);
    for (int j = 0; j < kWide; ++j)
      z[i + j] = (static_cast<float>(pixels[i + j]) - (l[j] + ls[j] * at)) * (v[j] + vs[j] * at);
  }
  for (int j = 0; i + j < n; ++j) {
    const auto at = static_cast<float>(i);
    z[i + j] = (static_cast<float>(pixels[i + j]) - (l[j] + ls[j] * at)) * (v[j] + vs[j] * at);
  }
}

POLEWRIGHT_CLONES
void convolve_row(const float* __restrict in, const float* __restrict taps, int radius, int n, float* __restrict out) {
  constexpr int kBlock = 64;  // accumulators that stay in registers or the first cache level
  for (int start = 0; start < n; start += kBlock) {
    const int m = n - start < kBlock ? n - start : kBlock;
    const float* p = in + start;
    float* o = out + start;
    for (int i = 0; i < m; ++i) o[i] = taps[0] * p[i];
    for (int k = 1; k <= radius; ++k)
      for (int i = 0; i < m; ++i) o[i] += taps[k] * (p[i - k] + p[i + k]);
  }
}

POLEWRIGHT_CLONES
void convolve_column(const float* const* rows, const float* __restrict taps, int radius, int n, float* __restrict out) {
  constexpr int kBlock = 64;
  for (int start = 0; start < n; start += kBlock) {
    const int m = n - start < kBlock ? n - start : kBlock;
    float* o = out + start;
    const float* middle = rows[radius] + start;
    for (int i = 0; i < m; ++i) o[i] = taps[0] * middle[i];
    for (int k = 1; k <= radius; ++k) {
      const float* a = rows[radius - k] + start;
      const float* b = rows[radius + k] + start;
      for (int i = 0; i < m; ++i) o[i] += taps[k] * (a[i] + b[i]);
    }
  }
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
