#include "nights/star_lists.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "polewright/catalogue.hpp"

namespace polewright::test {
namespace {

constexpr double kStarSigma_px = 0.08;

session::StarRecord star_record(const simulate::StarTruth& t, double brightest) {
  const auto f = [](double v) { return static_cast<float>(v); };
  const double flux = 1e5 * std::pow(10.0, -0.4 * (t.v_magnitude - brightest));
  session::StarRecord s{};
  s.x = f(t.place.x);
  s.y = f(t.place.y);
  s.cov_xx = s.cov_yy = f(kStarSigma_px * kStarSigma_px);
  s.flux = f(flux);
  s.flux_sigma = f(std::sqrt(flux));
  s.snr = f(std::max(8.0, 0.3 * std::sqrt(flux)));
  s.moment_xx = s.moment_yy = 1.04f;
  s.fwhm = 2.4f;
  return s;
}

}  // namespace

std::vector<session::NightFile> star_list_night(const NightPlan& plan) {
  const auto catalogue = Catalogue::open();
  if (!catalogue) throw std::runtime_error(catalogue.error().message());
  const std::vector<simulate::SkyStar> sky = simulate::stars_from_catalogue(*catalogue, plan.scene, 9.5);
  const MadeNight measured = make_night(plan);
  std::vector<session::NightFile> files;
  for (int i = 0; i < plan.scene.frames; ++i) {
    const NightFrame& night = measured.frames[static_cast<std::size_t>(i)];
    session::FrameRecord r;
    r.metadata.exposure_s = {plan.scene.exposure_s, "made"};
    r.metadata.mid_time = {simulate::frame_truth(plan.scene, i).mid, "made"};
    r.metadata.site = {plan.scene.site, "made"};
    r.metadata.focal_length_mm = {plan.scene.lens.focal_mm, "made"};
    r.metadata.pixel_pitch_um = {plan.scene.lens.pitch_um, "made"};
    r.metadata.camera = "Lanternworks Field 24";
    r.width = plan.scene.lens.width_px;
    r.height = plan.scene.lens.height_px;
    r.sky_level = night.sky_adu;
    r.sky_noise = 15.0;
    r.psf_sigma_px = 1.02;
    r.fwhm_px = *night.fwhm_px;
    if (night.trail) {
      r.field.centre_trail_x_px = night.trail->x_px;
      r.field.centre_trail_y_px = night.trail->y_px;
      r.field.centre_trail_cov = night.trail->cov;
      r.field.worst_trail_px = night.trail->worst_px;
      r.field.worst_trail_sigma_px = night.trail->worst_sigma_px;
    }
    r.field.aberration_px = night.aberration_px.value_or(0.0);
    r.tilt_px = night.tilt_px.value_or(0.0);
    const auto places = simulate::star_places(plan.scene, sky, i, {kStarSigma_px, plan.seed, -3.0});
    for (const simulate::StarTruth& t : places)
      if (r.stars.size() < 200) r.stars.push_back(star_record(t, places.front().v_magnitude));
    r.stars_usable = night.stars;
    session::NightFile file;
    file.input.file = "made_" + std::to_string(i) + ".fits";
    file.record = std::move(r);
    files.push_back(std::move(file));
  }
  return files;
}

}  // namespace polewright::test
