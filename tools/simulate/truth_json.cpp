#include <nlohmann/json.hpp>

#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

using nlohmann::ordered_json;

ordered_json horizontal(Vec<Enu> v) {
  return {{"altitude_deg", altitude_of(v).deg()}, {"azimuth_deg", azimuth_of(v).deg()}};
}

const char* projection_name(Projection projection) {
  switch (projection) {
    case Projection::rectilinear:
      return "rectilinear";
    case Projection::equidistant:
      return "equidistant";
    case Projection::equisolid:
      return "equisolid";
    case Projection::stereographic:
      return "stereographic";
  }
  return "";
}

ordered_json lens_json(const Lens& lens) {
  const PixelPoint principal = lens.principal_point();
  return {{"projection", projection_name(lens.projection)},
          {"focal_mm", lens.focal_mm},
          {"pitch_um", lens.pitch_um},
          {"focal_px", lens.focal_px()},
          {"principal_point_px", {principal.x, principal.y}},
          {"distortion", {lens.k1, lens.k2}},
          {"mirrored", lens.mirrored},
          {"f_number", lens.f_number}};
}

ordered_json mount_json(const Scene& scene) {
  const SceneTruth truth = scene_truth(scene);
  ordered_json mount = horizontal(truth.axis);
  mount["altitude_error_arcmin"] = truth.altitude_error.arcmin();
  mount["azimuth_error_arcmin"] = truth.azimuth_error.arcmin();
  mount["azimuth_error_on_sky_arcmin"] = truth.azimuth_error.arcmin() * cos(altitude_of(truth.axis));
  mount["total_error_arcmin"] = truth.total_error.arcmin();
  mount["reference_pole"] = scene.mount.about == AboutPole::refracted ? "refracted" : "true";
  mount["rate_ratio"] = scene.mount.rate_ratio;
  mount["periodic"] = ordered_json::array();
  for (const PeriodicError& p : scene.mount.periodic)
    mount["periodic"].push_back(
        {{"amplitude_arcsec", p.amplitude.arcsec()}, {"period_s", p.period_s}, {"phase_deg", p.phase.deg()}});
  return mount;
}

ordered_json frame_json(const Scene& scene, const RenderedFrame& f, const std::string& file) {
  const Vec<Enu> centre = f.truth.camera_from_enu.inverse() * Vec<Camera>{0, 0, 1};
  double trail_px = 0.0;
  for (const StarTruth& s : f.stars) trail_px = std::max(trail_px, std::hypot(s.trail.x, s.trail.y));
  return {{"file", file},
          {"mid_time_utc", f.truth.mid.iso()},
          {"stamped_mid_time_utc", f.truth.mid.plus_seconds(scene.clock_error_s).iso()},
          {"exposure_s", scene.exposure_s},
          {"centre_ra_deg", right_ascension_of(f.truth.centre).deg()},
          {"centre_dec_deg", declination_of(f.truth.centre).deg()},
          {"centre_altitude_deg", altitude_of(centre).deg()},
          {"centre_azimuth_deg", azimuth_of(centre).deg()},
          {"camera_from_enu", f.truth.camera_from_enu.m},
          {"stars", f.stars.size()},
          {"longest_trail_px", trail_px}};
}

}  // namespace

std::string truth_json(const Scene& scene, std::span<const RenderedFrame> frames,
                       std::span<const std::string> file_names) {
  const SceneTruth truth = scene_truth(scene);
  ordered_json out;
  out["schema"] = "polewright/simulated/1";
  out["site"] = {{"latitude_deg", scene.site.latitude.deg()},
                 {"longitude_deg", scene.site.longitude.deg()},
                 {"height_m", scene.site.height_m}};
  out["clock_error_s"] = scene.clock_error_s;
  out["pole"] = {{"refracted", horizontal(truth.refracted_pole)}, {"true", horizontal(truth.true_pole)}};
  out["mount"] = mount_json(scene);
  out["lens"] = lens_json(scene.lens);
  out["frames"] = ordered_json::array();
  for (std::size_t i = 0; i < frames.size(); ++i)
    out["frames"].push_back(frame_json(scene, frames[i], i < file_names.size() ? file_names[i] : ""));
  return out.dump(1) + "\n";
}

}  // namespace polewright::simulate
