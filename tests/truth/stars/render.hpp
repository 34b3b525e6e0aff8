// Star images for measuring the star stage: pixel-integrated Gaussians swept along a segment, with Poisson and read
// noise. Written apart from the code under test: the sweep is a plain midpoint sum, fine enough to be exact.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

#include "polewright/frame.hpp"

namespace polewright::test {

/// A round part of an image: its share of the light and its width over the star's.
struct ImagePart {
  double share = 1.0, width = 1.0;
};

/// A Moffat profile (1 + r²/α²)^−β with a Gaussian's full width at half maximum: exactly a mixture of Gaussians of
/// variance α²/2s with s distributed as Gamma(β − 1), here on even steps of ln s (the trapezium rule, which converges
/// fast on such integrands).
inline std::vector<ImagePart> moffat_parts(double beta) {
  const double alpha = 1.1774100225154747 / std::sqrt(std::pow(2.0, 1.0 / beta) - 1.0);  // √(2 ln 2), of σ
  std::vector<ImagePart> parts;
  double sum = 0.0;
  for (double u = -3.0; u <= 3.0; u += 0.25) {
    const double s = std::exp(u), weight = std::pow(s, beta - 1.0) * std::exp(-s);
    parts.push_back({weight, alpha / std::sqrt(2.0 * s)});
    sum += weight;
  }
  for (ImagePart& p : parts) p.share /= sum;
  return parts;
}

struct RenderedStar {
  double x = 0.0, y = 0.0;  ///< middle of the trail, px
  double sigma_px = 1.0;
  double electrons = 1000.0;                    ///< total through a clear filter
  std::array<double, 3> colour{1.0, 1.0, 1.0};  ///< share that passes red, green, blue
  double trail_x_px = 0.0, trail_y_px = 0.0;    ///< from end to end
  std::vector<ImagePart> parts{ImagePart{}};    ///< one: a Gaussian
};

struct RenderOptions {
  int width = 256, height = 256;
  double sky_electrons = 100.0;
  double read_noise_electrons = 3.0;
  double adu_per_electron = 1.0;
  double black_adu = 512.0;
  double white_adu = 65535.0;
  Mosaic mosaic;
  bool noise = true;
  unsigned seed = 1;
};

inline Mosaic rggb() {
  return {{FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue}};
}

/// Share of a unit Gaussian at `centre` that falls into pixel i of one axis.
inline double pixel_share(int i, double centre, double sigma) {
  const double k = 1.0 / (sigma * std::sqrt(2.0));
  return 0.5 * (std::erf((i + 0.5 - centre) * k) - std::erf((i - 0.5 - centre) * k));
}

/// Expected electrons per pixel, sky included. Row-major.
inline std::vector<double> expected_electrons(const std::vector<RenderedStar>& stars, const RenderOptions& o) {
  std::vector<double> e(static_cast<std::size_t>(o.width) * static_cast<std::size_t>(o.height), o.sky_electrons);
  for (const RenderedStar& s : stars) {
    const double length = std::hypot(s.trail_x_px, s.trail_y_px);
    const int steps = length > 0.0 ? std::max(16, static_cast<int>(std::ceil(10.0 * length / s.sigma_px))) : 1;
    for (const ImagePart& part : s.parts) {
      const double sigma = part.width * s.sigma_px;
      const int reach = static_cast<int>(std::ceil(std::min(7.0 * sigma, 20.0 * s.sigma_px))) + 1;
      std::vector<double> gx(static_cast<std::size_t>(2 * reach + 1)), gy(gx.size());
      for (int k = 0; k < steps; ++k) {
        const double f = (k + 0.5) / steps - 0.5;
        const double cx = s.x + f * s.trail_x_px, cy = s.y + f * s.trail_y_px;
        const int ix = static_cast<int>(std::lround(cx)), iy = static_cast<int>(std::lround(cy));
        for (int d = -reach; d <= reach; ++d) {
          gx[static_cast<std::size_t>(d + reach)] = pixel_share(ix + d, cx, sigma);
          gy[static_cast<std::size_t>(d + reach)] = pixel_share(iy + d, cy, sigma);
        }
        for (int y = std::max(0, iy - reach); y <= std::min(o.height - 1, iy + reach); ++y)
          for (int x = std::max(0, ix - reach); x <= std::min(o.width - 1, ix + reach); ++x) {
            double share = part.share;
            if (o.mosaic.is_colour()) share *= s.colour[static_cast<std::size_t>(o.mosaic.at(x, y)) - 1];
            e[static_cast<std::size_t>(y * o.width + x)] += s.electrons * share / steps *
                                                            gx[static_cast<std::size_t>(x - ix + reach)] *
                                                            gy[static_cast<std::size_t>(y - iy + reach)];
          }
      }
    }
  }
  return e;
}

/// Poisson beyond 50 electrons is drawn as a normal: their difference is far below the read noise there.
inline double photons(double mean, std::mt19937_64& rng) {
  if (mean < 50.0) return static_cast<double>(std::poisson_distribution<int>(std::max(mean, 1e-9))(rng));
  return std::round(std::normal_distribution<double>(mean, std::sqrt(mean))(rng));
}

inline Frame to_frame(const std::vector<double>& electrons, const RenderOptions& o) {
  Frame f;
  f.width = o.width;
  f.height = o.height;
  f.mosaic = o.mosaic;
  f.black_level.fill(o.black_adu);
  f.white_level = o.white_adu;
  f.pixels.resize(electrons.size());
  std::mt19937_64 rng(o.seed);
  std::normal_distribution<double> read(0.0, 1.0);
  for (std::size_t i = 0; i < electrons.size(); ++i) {
    double e = electrons[i];
    if (o.noise) e = photons(e, rng) + o.read_noise_electrons * read(rng);
    f.pixels[i] =
        static_cast<std::uint16_t>(std::clamp(std::round(o.black_adu + o.adu_per_electron * e), 0.0, o.white_adu));
  }
  return f;
}

inline Frame render(const std::vector<RenderedStar>& stars, const RenderOptions& o) {
  return to_frame(expected_electrons(stars, o), o);
}

/// Stars on a grid with pitch `pitch_px`, each moved off its place by up to half a pixel.
inline std::vector<RenderedStar> star_grid(const RenderOptions& o, int pitch_px, const RenderedStar& like,
                                           unsigned seed) {
  std::mt19937_64 rng(seed);
  std::uniform_real_distribution<double> phase(-0.5, 0.5);
  std::vector<RenderedStar> stars;
  for (int y = pitch_px / 2; y + pitch_px / 2 < o.height; y += pitch_px)
    for (int x = pitch_px / 2; x + pitch_px / 2 < o.width; x += pitch_px) {
      RenderedStar s = like;
      s.x = x + phase(rng);
      s.y = y + phase(rng);
      stars.push_back(s);
    }
  return stars;
}

}  // namespace polewright::test
