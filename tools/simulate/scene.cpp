#include "simulate/scene.hpp"

#include <fmt/format.h>

#include <cmath>

#include "simulate/detector.hpp"

namespace polewright::simulate {
namespace {

/// Collects the first violated constraint.
class Check {
 public:
  void range(const char* name, double value, double low, double high) {
    if (text_.empty() && !(value >= low && value <= high))
      text_ = fmt::format("{} is {}; expected {} to {}", name, value, low, high);
  }
  [[nodiscard]] std::string text() const { return text_; }

 private:
  std::string text_;
};

}  // namespace

std::string Scene::validate() const {
  Check c;
  c.range("site.latitude_deg", site.latitude.deg(), -90.0, 90.0);
  c.range("site.longitude_deg", site.longitude.deg(), -360.0, 360.0);
  c.range("site.height_m", site.height_m, -400.0, 9000.0);
  c.range("frames", frames, 1, 100000);
  c.range("exposure_s", exposure_s, 0.0, 900.0);  // Arc holds a parabola
  c.range("interval_s", interval_s, exposure_s, 1e6);
  c.range("lens.focal_mm", lens.focal_mm, 1.0, 5000.0);
  c.range("lens.pitch_um", lens.pitch_um, 0.5, 100.0);
  c.range("lens.width_px", lens.width_px, 16, 20000);
  c.range("lens.height_px", lens.height_px, 16, 20000);
  c.range("lens.f_number", lens.f_number, 0.5, 64.0);
  c.range("mount.rate_ratio", mount.rate_ratio, -100.0, 100.0);
  for (const PeriodicError& p : mount.periodic) c.range("periodic.period_s", p.period_s, 0.01, 1e6);
  for (const Gust& g : gusts) c.range("gust.decay_s", g.decay_s, 1e-3, 1e6);
  for (const Settling& s : settlings) c.range("settling.decay_s", s.decay_s, 1e-3, 1e6);
  return c.text();
}

std::string Detector::validate() const {
  Check c;
  c.range("psf.sigma_px", psf.sigma_px, 0.2, 50.0);
  if (psf.moffat_beta) c.range("psf.moffat_beta", *psf.moffat_beta, 1.5, 100.0);
  c.range("psf.defocus_px", psf.defocus_px, 0.0, 100.0);
  c.range("efficiency", efficiency, 0.0, 1.0);
  c.range("vignetting_corner", vignetting_corner, 0.0, 1.0);
  c.range("read_noise_e", read_noise_e, 0.0, 1000.0);
  c.range("gain_e_per_adu", gain_e_per_adu, 1e-4, 1e4);
  c.range("full_well_e", full_well_e, 1.0, 1e9);
  c.range("white_level_adu", white_level_adu, 1.0, 65535.0);
  for (const double b : black_adu) c.range("black_adu", b, 0.0, white_level_adu);
  c.range("prnu", prnu, 0.0, 0.5);
  return c.text();
}

}  // namespace polewright::simulate
