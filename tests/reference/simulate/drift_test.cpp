// The simulator's motion against the reference drifts and pixel displacements in check-values.json, sections 4_drift,
// 5_trails and 7_misc (exact rotations and the classical formulae, each row with its source there).
#include <catch2/catch.hpp>
#include <cmath>

#include "simulate/mount_motion.hpp"
#include "simulate/projection.hpp"
#include "simulate/simulate.hpp"
#include "support/check_values.hpp"

using namespace polewright;
using namespace polewright::simulate;
using polewright::test::check_values;

namespace {

constexpr double kArcsec = 206264.80624709636;

struct Star {
  Vec<Enu> direction, north;
};

/// Textbook transformation from hour angle (west positive) and declination to the horizon.
Star star_at(double latitude_deg, double hour_angle_h, double dec_deg) {
  const Angle f = Angle::deg(latitude_deg), h = Angle::hours(hour_angle_h), d = Angle::deg(dec_deg);
  return {{-cos(d) * sin(h), sin(d) * cos(f) - cos(d) * cos(h) * sin(f), sin(d) * sin(f) + cos(d) * cos(h) * cos(f)},
          {sin(d) * sin(h), cos(d) * cos(f) + sin(d) * cos(h) * sin(f), cos(d) * sin(f) - sin(d) * cos(h) * cos(f)}};
}

/// Camera looking at the star with celestial north up: x right is west.
Rotation<Camera, Enu> north_up(const Star& s) {
  const Vec<Enu> z = s.direction, y = -s.north, x = y.cross(z);
  return {{x.x, x.y, x.z, y.x, y.y, y.z, z.x, z.y, z.z}};
}

/// An airless scene with the row's mount; the first frame is a moment at t = 0, the second one at dt.
Scene scene_of(const nlohmann::json& a, const char* east_key, const char* up_key, double dt_s) {
  Scene scene;
  scene.site = {Angle::deg(a.at("lat").get<double>()), Angle(), 0.0};
  scene.weather.refraction = false;
  scene.first_start = UtcTime::from_calendar({2026, 11, 24, 20, 0, 0.0});
  scene.exposure_s = 0.0;
  scene.interval_s = dt_s;
  scene.mount.about = AboutPole::true_pole;
  scene.mount.azimuth_error = Angle::arcmin(a.at(east_key).get<double>());
  scene.mount.altitude_error = Angle::arcmin(a.at(up_key).get<double>());
  scene.mount.rate_ratio = a.at("r").get<double>();
  return scene;
}

/// Turn of a rigid sky in dt, without aberration or precession, as the reference values take it.
Rotation<Enu, Enu> sky_turn(const Scene& scene, double dt_s) {
  return rotation_about(Vec<Enu>{0, cos(scene.site.latitude), sin(scene.site.latitude)},
                        Angle::rad(-kSidereal_rad_per_s * dt_s));
}

/// The table's camera looks north-up at the star half-way between the frames: the pointing that leads there.
void aim_half_way(Scene& scene, const Star& star, double dt_s) {
  const auto wanted = north_up(star);
  scene.pointing = wanted;
  scene.pointing = wanted * CameraMotion(scene, 0).at(0.5 * dt_s).inverse() * wanted;
}

struct Drift {
  double north, east, twist;  // arcsec
};

Drift drift_of(const Scene& scene, const Star& star, double dt_s) {
  const CameraMotion motion(scene, 0);
  const auto before = motion.at(0.0) * sky_turn(scene, -0.5 * dt_s),
             after = motion.at(dt_s) * sky_turn(scene, 0.5 * dt_s);
  const auto a = before * star.direction, b = after * star.direction;
  const auto turn = after * before.inverse();
  return {-(b.y / b.z - a.y / a.z) * kArcsec, -(b.x / b.z - a.x / a.z) * kArcsec,
          -0.5 * (turn.m[3] - turn.m[1]) * kArcsec};
}

}  // namespace

TEST_CASE("drift of a star in the camera reproduces the exact rotations", "[reference]") {
  int checked = 0;
  for (const auto& row : check_values("4_drift")) {
    if (!row.contains("H_hours")) continue;
    const bool per_minute = row.contains("exact");
    const double dt_s = per_minute ? 60.0 : 180.0;
    Scene scene = scene_of(row, "e_az_east_arcmin", "e_alt_up_arcmin", dt_s);
    const Star star = star_at(row.at("lat"), row.at("H_hours"), row.at("dec"));
    aim_half_way(scene, star, dt_s);
    const Drift drift = drift_of(scene, star, dt_s);
    const auto& truth = per_minute ? row.at("exact") : row;
    INFO(row.dump());
    // The table carries 12 digits of up to a few tens of arcseconds; rounding in products of 3×3 matrices is 1e-10″.
    CHECK(drift.north == Approx(truth.at(per_minute ? "north_drift" : "north_arcsec").get<double>()).margin(2e-8));
    CHECK(drift.east == Approx(truth.at(per_minute ? "east_drift" : "east_arcsec").get<double>()).margin(2e-8));
    // Twist is read here as the mean of two matrix elements, the table's as a rotation angle: they differ in third
    // order of 60″, below 1e-6″.
    CHECK(drift.twist == Approx(truth.at(per_minute ? "twist_PA" : "twist_arcsec").get<double>()).margin(2e-6));
    ++checked;
    if (!per_minute) continue;
    // First-order formulae leave out products of the error with itself and with the turn of the sky.
    const double error = scene_truth(scene).total_error.rad(), turn = kSidereal_rad_per_s * dt_s;
    const double second_order = turn * kArcsec * error * (2.0 * error + turn) + 1e-9;
    CHECK(std::abs(drift.north - row.at("formula").at("north_drift").get<double>()) < second_order);
    CHECK(std::abs(drift.east - row.at("formula").at("east_drift").get<double>()) < second_order);
    CHECK(std::abs(drift.twist - row.at("formula").at("twist_PA").get<double>()) < second_order);
  }
  CHECK(checked >= 20);
}

TEST_CASE("star lists of a session show the same drift through ERFA's apparent places", "[reference]") {
  for (const auto& row : check_values("4_drift")) {
    if (!row.contains("exact") || !row.contains("H_hours")) continue;
    Scene scene = scene_of(row, "e_az_east_arcmin", "e_alt_up_arcmin", 60.0);
    const Star star = star_at(row.at("lat"), row.at("H_hours"), row.at("dec"));
    if (star.direction.z < 0.05) continue;  // the simulator shows nothing below the horizon
    aim_half_way(scene, star, 60.0);
    scene.lens.focal_mm = 1000.0;
    const SkyPlaces sky(scene.first_start.plus_seconds(30.0), scene.site, scene.weather);
    const std::vector<SkyStar> stars{{1, sky.icrs(star.direction), 5.0}};
    const auto a = star_places(scene, stars, 0), b = star_places(scene, stars, 1);
    REQUIRE(a.size() == 1);
    REQUIRE(b.size() == 1);
    const double arcsec_per_px = kArcsec / scene.lens.focal_px();
    INFO(row.dump());
    // Real apparent places do not turn rigidly: the observer's own motion (diurnal aberration 0.32″, turning by ωt =
    // 0.0044 in a minute) and the Earth's about the Sun (20.5″, 0.35″ a day) leave 0.002″.
    CHECK(-(b[0].place.y - a[0].place.y) * arcsec_per_px ==
          Approx(row.at("exact").at("north_drift").get<double>()).margin(0.002));
    CHECK(-(b[0].place.x - a[0].place.x) * arcsec_per_px ==
          Approx(row.at("exact").at("east_drift").get<double>()).margin(0.002));
  }
}

TEST_CASE("pixel displacements over the frame reproduce the forward table", "[reference]") {
  int checked = 0;
  for (const auto& row : check_values("7_misc")) {
    if (row.at("name").get<std::string>() != "forward px displacement frame2-frame1") continue;
    const auto& args = row.at("args");
    const double dt_s = args.at("dt");
    Scene scene = scene_of(args, "e_az_east", "e_alt", dt_s);
    scene.lens.focal_mm = args.at("f_mm");
    scene.lens.width_px = 6001;
    scene.lens.height_px = 4001;
    const Star star = star_at(args.at("lat"), args.at("H_h"), args.at("dec"));
    aim_half_way(scene, star, dt_s);
    const CameraMotion motion(scene, 0);
    const PixelPoint centre = scene.lens.principal_point();
    for (const auto& d : row.at("disp")) {
      const PixelPoint at{centre.x + d[0].get<double>(), centre.y - d[1].get<double>()};
      const Vec<Enu> half_way = north_up(star).inverse() * *unproject(scene.lens, at);
      const auto before = project(scene.lens, motion.at(0.0) * (sky_turn(scene, -0.5 * dt_s) * half_way));
      const auto after = project(scene.lens, motion.at(dt_s) * (sky_turn(scene, 0.5 * dt_s) * half_way));
      INFO(row.dump());
      // 12 digits in the table, 1e-12 of 6000 px in the projection.
      CHECK(after->x - before->x == Approx(d[2].get<double>()).margin(1e-7));
      CHECK(before->y - after->y == Approx(d[3].get<double>()).margin(1e-7));
      ++checked;
    }
  }
  CHECK(checked == 25);
}

TEST_CASE("trails of a camera that does not turn have the published lengths", "[reference]") {
  int checked = 0;
  for (const auto& row : check_values("5_trails")) {
    if (row.at("name").get<std::string>() != "untracked trail") continue;
    Scene scene;
    scene.site = {Angle::deg(20.0), Angle(), 0.0};
    scene.weather.refraction = false;
    scene.first_start = UtcTime::from_calendar({2026, 11, 24, 20, 0, 0.0});
    scene.exposure_s = row.at("t_s");
    scene.interval_s = scene.exposure_s;
    scene.lens.focal_mm = row.at("f_mm");
    scene.lens.pitch_um = row.at("pitch_um");
    scene.mount.rate_ratio = 0.0;
    const Star star = star_at(20.0, 0.0, row.at("dec"));
    scene.pointing = north_up(star);
    const SkyPlaces sky(scene.first_start.plus_seconds(0.5 * scene.exposure_s), scene.site, scene.weather);
    const auto places = star_places(scene, std::vector<SkyStar>{{1, sky.icrs(star.direction), 5.0}}, 0);
    REQUIRE(places.size() == 1);
    INFO(row.dump());
    // Aberration changes the rate by 1e-4 of itself at most; the row's figure is measured on a trail that starts on the
    // optical axis, this one has its middle there: together below 2e-5 relative plus 0.0003 px.
    CHECK(std::hypot(places[0].trail.x, places[0].trail.y) ==
          Approx(row.at("trail_px_exact").get<double>()).epsilon(1e-4).margin(3e-4));
    ++checked;
  }
  CHECK(checked >= 8);
}
