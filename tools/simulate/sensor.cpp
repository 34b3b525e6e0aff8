#include "simulate/sensor.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/parallel.hpp"
#include "simulate/random.hpp"

namespace polewright::simulate {
namespace {

/// Faults of the chip: the same in every frame.
void add_hot_pixels(Canvas& canvas, const Detector& detector, double exposure_s) {
  Random random(detector.pattern_seed);
  const double n = detector.hot_pixels_per_megapixel * 1e-6 * static_cast<double>(canvas.electrons.size());
  for (double i = 0.0; i < std::floor(n); ++i) {
    const auto at = static_cast<std::size_t>(random.uniform() * static_cast<double>(canvas.electrons.size()));
    canvas.electrons[at] -= static_cast<float>(std::log(random.uniform()) * detector.hot_pixel_e_per_s * exposure_s);
  }
}

std::vector<float> warm_columns(int width, const Detector& detector) {
  std::vector<float> columns(static_cast<std::size_t>(width), 0.0F);
  Random random(detector.pattern_seed, 2);
  for (float& c : columns)
    if (random.uniform() < 1e-3 * detector.warm_columns_per_1000)
      c = static_cast<float>(-std::log(random.uniform()) * detector.warm_column_e);
  return columns;
}

/// A particle leaves a short straight track, a pixel wide and without the lens's blur.
void add_particle_hits(Canvas& canvas, const SensorExposure& exposure) {
  Random random(exposure.seed, 3);
  const double megapixels = 1e-6 * static_cast<double>(canvas.electrons.size());
  const double hits = random.poisson(exposure.cosmic_rays_per_megapixel_s * megapixels * exposure.exposure_s);
  for (double i = 0.0; i < hits; ++i) {
    double x = random.uniform(0.0, canvas.width), y = random.uniform(0.0, canvas.height);
    const double length = 1.0 - 5.0 * std::log(random.uniform()), angle = random.uniform(0.0, 2.0 * std::numbers::pi);
    for (double at = 0.0; at < length; at += 0.5, x += 0.5 * std::cos(angle), y += 0.5 * std::sin(angle)) {
      if (x < 0.0 || y < 0.0 || x >= canvas.width || y >= canvas.height) break;
      const auto index = static_cast<std::size_t>(y) * static_cast<std::size_t>(canvas.width);
      canvas.electrons[index + static_cast<std::size_t>(x)] += static_cast<float>(random.uniform(300.0, 900.0));
    }
  }
}

}  // namespace

ColourShares filter_shares(const Mosaic& mosaic, double warmth) {
  ColourShares shares{};
  for (std::size_t i = 0; i < shares.size(); ++i) {
    switch (mosaic.colour[i]) {
      case FilterColour::mono:
        shares[i] = 1.0F;
        break;
      case FilterColour::red:
        shares[i] = static_cast<float>(0.55 * std::exp(0.7 * warmth));
        break;
      case FilterColour::green:
        shares[i] = 0.9F;
        break;
      case FilterColour::blue:
        shares[i] = static_cast<float>(0.65 * std::exp(-0.8 * warmth));
        break;
    }
  }
  return shares;
}

std::vector<std::uint16_t> expose_sensor(Canvas& canvas, const Detector& detector, const SensorExposure& exposure,
                                         const std::function<void(int, std::span<float>)>& sky) {
  add_hot_pixels(canvas, detector, exposure.exposure_s);
  add_particle_hits(canvas, exposure);
  const std::vector<float> columns = warm_columns(canvas.width, detector);
  const auto width = static_cast<std::size_t>(canvas.width);
  // Sky light over a village is a little warm.
  const ColourShares sky_shares =
      detector.sky_e_per_px ? ColourShares{1, 1, 1, 1} : filter_shares(detector.mosaic, 0.25);
  const double per_adu = 1.0 / detector.gain_e_per_adu;

  std::vector<std::uint16_t> samples(canvas.electrons.size());
  // A row has its own random stream, so the number of threads changes nothing.
  parallel_for(static_cast<std::size_t>(canvas.height), exposure.threads, [&](std::size_t y) {
    Random random(exposure.seed, y + 16), pattern(detector.pattern_seed, y + 16);
    std::vector<float> row(width);
    sky(static_cast<int>(y), row);
    const float* light = canvas.electrons.data() + y * width;
    std::uint16_t* out = samples.data() + y * width;
    const std::size_t colour_row = 2 * (y & 1);
    for (std::size_t x = 0; x < width; ++x) {
      const std::size_t colour = colour_row + (x & 1);
      double e = light[x] + row[x] * sky_shares[colour] + columns[x];
      if (detector.prnu > 0.0) e *= 1.0 + detector.prnu * pattern.normal();
      if (detector.shot_noise) e = random.poisson(e);
      e = std::min(e, detector.full_well_e);
      if (detector.read_noise_e > 0.0) e += detector.read_noise_e * random.normal();
      const double adu = std::floor(detector.black_adu[colour] + e * per_adu + 0.5);
      out[x] = static_cast<std::uint16_t>(std::clamp(adu, 0.0, detector.white_level_adu));
    }
  });
  return samples;
}

}  // namespace polewright::simulate
