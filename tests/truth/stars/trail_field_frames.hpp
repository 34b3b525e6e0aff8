// Varied frames with a known rotation during the exposure: focal lengths, star counts, motions, lenses, sensors.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "polewright/sky.hpp"
#include "polewright/stars.hpp"
#include "simulate/simulate.hpp"

namespace polewright::test {

/// Rotation of the camera over the stars during the exposure, camera axes: σω(p − r·m)·t (Ω in DEVELOPERS.md,
/// "Frames and signs").
inline Vec<Camera> true_rotation(const simulate::Scene& scene) {
  const simulate::SceneTruth truth = simulate::scene_truth(scene);
  const Vec<Enu> omega = (truth.true_pole - truth.axis * scene.mount.rate_ratio) *
                         (hemisphere_sign(scene.site) * kSiderealRate_rad_per_s * scene.exposure_s);
  return simulate::frame_truth(scene, 0).camera_from_enu * omega;
}

struct FieldFrame {
  std::string what;
  simulate::Scene scene;
  simulate::RenderOptions render;
  double faintest = 10.0;
  double brighter_mag = 0.0;  ///< all stars are brightened by this
  double motion_px = 0.0;     ///< at the frame's centre
  unsigned seed = 1;

  [[nodiscard]] Frame frame() const {
    auto stars = simulate::random_stars(scene, faintest, seed);
    for (simulate::SkyStar& star : stars) star.v_magnitude -= brighter_mag;
    return simulate::render_frame(scene, stars, 0, render).frame;
  }
};

/// 1500×1000 frames of 5.9 µm, four minutes long.
struct FieldKind {
  double focal_mm = 135.0, stars = 1000.0, motion_px = 0.0;
  simulate::PointSpread psf;
  bool mosaic = false;
};

/// Scales axis and rate error, drawn at random, until the frame's centre moves by kind.motion_px.
inline FieldFrame field_frame(const FieldKind& kind, unsigned seed) {
  std::mt19937_64 rng(seed);
  std::uniform_real_distribution<double> unit(-1.0, 1.0);
  FieldFrame f;
  f.seed = seed;
  f.motion_px = kind.motion_px;
  simulate::Scene& s = f.scene;
  s.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  s.weather.refraction = false;  // the field's drift through refraction is motion too, and not in the truth
  s.frames = 1;
  s.exposure_s = 240.0;
  s.interval_s = 300.0;
  s.lens.focal_mm = kind.focal_mm;
  s.lens.pitch_um = 5.9;
  s.lens.width_px = 1500;
  s.lens.height_px = 1000;
  s.pointing = simulate::Horizontal{Angle::deg(180.0 * unit(rng)), Angle::deg(55.0 + 15.0 * unit(rng)),
                                    Angle::deg(180.0 * unit(rng))};
  const double altitude = unit(rng), azimuth = unit(rng), rate = unit(rng);
  double scale = kind.motion_px > 0.0 ? 1e-3 : 0.0;
  for (int round = 0; round < 6; ++round) {
    s.mount.altitude_error = Angle::rad(altitude * scale);
    s.mount.azimuth_error = Angle::rad(azimuth * scale);
    s.mount.rate_ratio = 1.0 + rate * scale;
    const Vec<Camera> r = true_rotation(s);
    if (kind.motion_px > 0.0) scale *= kind.motion_px / (s.lens.focal_px() * std::hypot(r.x, r.y));
  }
  simulate::Detector& d = f.render.detector;
  d.psf = kind.psf;
  d.sky_e_per_px = 200.0;
  if (kind.mosaic) d.mosaic = {{FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue}};
  f.render.seed = seed;
  // The faintest star is to be found just so, whatever their number: 8 per square degree to V 10, 2.9 per magnitude.
  const double degrees_per_px = 180.0 / std::numbers::pi / s.lens.focal_px();
  const double area = degrees_per_px * degrees_per_px * s.lens.width_px * s.lens.height_px;
  f.faintest = 10.0 + std::log(kind.stars / (8.0 * area)) / std::log(2.9);
  const double aperture_cm = 0.1 * s.lens.focal_mm / s.lens.f_number;
  const double photons = 2.0 * 1005.0 * 880.0 * 0.25 * std::numbers::pi * aperture_cm * aperture_cm * s.exposure_s *
                         d.efficiency * std::pow(10.0, -0.4 * f.faintest);
  const double faintest_e = 400.0 * (kind.mosaic ? 3.0 : 1.0) * std::sqrt(1.0 + kind.motion_px / 4.0);
  f.brighter_mag = 2.5 * std::log10(faintest_e / photons);
  return f;
}

/// A frame of the campaign: everything drawn from its number. One in three is of a still camera.
inline FieldFrame campaign_frame(unsigned number) {
  std::mt19937_64 rng(1000 + number);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  constexpr std::array kFocal{24.0, 35.0, 50.0, 85.0, 135.0, 200.0, 300.0};
  FieldKind k;
  k.focal_mm = kFocal[number % kFocal.size()];
  k.stars = 50.0 * std::pow(60.0, unit(rng));
  k.motion_px = number % 3 == 0 ? 0.0 : 0.1 * std::pow(200.0, unit(rng));
  k.mosaic = number % 2 == 1;
  simulate::PointSpread& p = k.psf;
  p.sigma_px = 0.9 + 0.8 * unit(rng);
  const std::array<const char*, 6> lens{"perfect", "coma", "radial", "tangential", "tilt, defocus", "all"};
  const std::size_t which = (number / 2) % lens.size();
  if (which == 1 || which == 5) p.coma_px = 1.0 + 5.0 * unit(rng);
  if (which == 2 || which == 5) p.astigmatism_px = 0.4 + 1.4 * unit(rng);
  if (which == 3) p.astigmatism_px = -0.4 - 1.4 * unit(rng);
  if (which == 4 || which == 5) {
    p.tilt_px = 1.5 * unit(rng);
    p.defocus_px = unit(rng);
    p.tilt_direction = Angle::deg(360.0 * unit(rng));
  }
  FieldFrame f = field_frame(k, 5000 + number);
  char text[160];
  std::snprintf(text, sizeof text, "%.0f mm, %4.0f stars, %5.2f px, σ %.2f, %s, %s", k.focal_mm, k.stars, k.motion_px,
                p.sigma_px, lens[which], k.mosaic ? "mosaic" : "mono");
  f.what = text;
  return f;
}

}  // namespace polewright::test
