#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "simulate/mount_motion.hpp"
#include "simulate/projection.hpp"
#include "simulate/simulate.hpp"

using namespace polewright;
using namespace polewright::simulate;

namespace {

Scene evening() {
  Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  scene.pointing = Horizontal{Angle::deg(150), Angle::deg(50), Angle::deg(7)};
  return scene;
}

/// Where a direction fixed to the ground is seen, relative to where it was at the start of the session.
PixelPoint ground_shift(const Scene& scene, double t_s) {
  const CameraMotion motion(scene, 0);
  const Vec<Enu> ahead = motion.at(0.0).inverse() * Vec<Camera>{0, 0, 1};
  const auto before = project(scene.lens, motion.at(0.0) * ahead), after = project(scene.lens, motion.at(t_s) * ahead);
  return {after->x - before->x, after->y - before->y};
}

}  // namespace

TEST_CASE("a camera aimed over the ground looks there, with the zenith up") {
  Scene scene = evening();
  scene.pointing = Horizontal{Angle::deg(90), Angle::deg(30), Angle()};
  const auto attitude = CameraMotion(scene, 0).at(0.0);
  const Vec<Camera> ahead = attitude * enu_from_horizontal(Angle::deg(90), Angle::deg(30));
  CHECK(ahead.z == Approx(1.0));
  CHECK((attitude * enu_from_horizontal(Angle::deg(90), Angle::deg(31))).y < 0.0);  // higher is up, y is down
  CHECK((attitude * enu_from_horizontal(Angle::deg(91), Angle::deg(30))).x > 0.0);  // south of east is to the right
  scene.pointing = Horizontal{Angle::deg(90), Angle::deg(30), Angle::deg(90)};
  // Turned clockwise by a quarter, the camera has the zenith on its left.
  CHECK((CameraMotion(scene, 0).at(0.0) * enu_from_horizontal(Angle::deg(90), Angle::deg(31))).x < 0.0);
}

TEST_CASE("axis errors have the conventional signs in both hemispheres") {
  Scene scene = evening();
  scene.mount.altitude_error = Angle::arcmin(30);
  scene.mount.azimuth_error = Angle::arcmin(60);
  for (const double latitude : {46.0, -33.0}) {
    scene.site.latitude = Angle::deg(latitude);
    const SceneTruth truth = scene_truth(scene);
    CHECK((altitude_of(truth.axis) - altitude_of(truth.refracted_pole)).arcmin() == Approx(30.0));
    CHECK(truth.axis.x > 0.0);  // east of the meridian
    CHECK(azimuth_of(truth.axis).deg() == Approx(latitude > 0.0 ? 1.0 : 179.0));
    CHECK(truth.total_error.arcmin() == Approx(std::hypot(30.0, 60.0 * cos(altitude_of(truth.axis)))).epsilon(0.01));
  }
}

TEST_CASE("a perfect mount keeps the stars, a stopped one keeps the ground") {
  Scene scene = evening();
  scene.weather.refraction = false;
  const auto stars = random_stars(scene, 8.0, 5);
  REQUIRE(stars.size() > 20);
  for (const double rate : {1.0, 0.0}) {
    scene.mount.rate_ratio = rate;
    const auto a = star_places(scene, stars, 0), b = star_places(scene, stars, 1);
    REQUIRE(!a.empty());
    const double moved = std::hypot(b[0].place.x - a[0].place.x, b[0].place.y - a[0].place.y);
    if (rate == 1.0) {
      REQUIRE(a.size() == b.size());
      CHECK(moved < 1e-3);  // diurnal aberration 0.3″ turning with the sky: 0.004″ of 16″ per pixel
    }
    const PixelPoint ground = ground_shift(scene, 180.0);
    if (rate == 0.0) CHECK(std::hypot(ground.x, ground.y) == Approx(0.0).margin(1e-9));
  }
}

TEST_CASE("rates: half and reversed turn the camera by half and backwards") {
  Scene scene = evening();
  const auto turned = [&](double rate) {
    scene.mount.rate_ratio = rate;
    const CameraMotion motion(scene, 0);
    const auto turn = motion.at(600.0).inverse() * motion.at(0.0);  // R(m, θ) over the ground
    const Vec<Enu> twice{turn.m[7] - turn.m[5], turn.m[2] - turn.m[6], turn.m[3] - turn.m[1]};
    return std::asin(0.5 * twice.dot(axis_of(scene)));
  };
  const double full = -kSidereal_rad_per_s * 600.0;  // the sky, and the camera after it, turn by −σω about the pole
  CHECK(turned(1.0) == Approx(full));
  CHECK(turned(0.5) == Approx(0.5 * full));
  CHECK(turned(-1.0) == Approx(-full));
  scene.site.latitude = Angle::deg(-40);
  CHECK(turned(1.0) == Approx(-full));
}

TEST_CASE("periodic error turns the camera about the axis and returns after a period") {
  Scene scene = evening();
  scene.mount.rate_ratio = 0.0;
  scene.mount.periodic = {{Angle::arcsec(25), 600.0, Angle()}};
  const CameraMotion motion(scene, 0);
  const auto angle_from_start = [&](double t_s) {
    const auto turn = motion.at(t_s) * motion.at(0.0).inverse();
    return Angle::rad(std::sqrt(std::pow(turn.m[7] - turn.m[5], 2) + std::pow(turn.m[2] - turn.m[6], 2) +
                                std::pow(turn.m[3] - turn.m[1], 2)) /
                      2.0);
  };
  CHECK(angle_from_start(150.0).arcsec() == Approx(25.0).epsilon(1e-6));
  CHECK(angle_from_start(600.0).arcsec() == Approx(0.0).margin(1e-6));
}

TEST_CASE("nudges move the stars where they say") {
  Scene scene = evening();
  scene.mount.rate_ratio = 0.0;
  const double px = Angle::arcsec(60).rad() * scene.lens.focal_px();
  SECTION("slip to the right stays") {
    scene.slips = {{10.0, {Angle::arcsec(60), Angle(), Angle()}}};
    CHECK(ground_shift(scene, 9.0).x == Approx(0.0).margin(1e-9));
    CHECK(ground_shift(scene, 11.0).x == Approx(px).epsilon(1e-4));
    CHECK(ground_shift(scene, 500.0).x == Approx(px).epsilon(1e-4));
  }
  SECTION("mirrored pictures slip to the right too") {
    scene.lens.mirrored = true;
    scene.slips = {{10.0, {Angle::arcsec(60), Angle(), Angle()}}};
    CHECK(ground_shift(scene, 11.0).x == Approx(px).epsilon(1e-4));
  }
  SECTION("sag downwards grows") {
    scene.sag = Sag{{Angle::arcsec(60), Angle::deg(90), Angle()}};
    CHECK(ground_shift(scene, 30.0).y == Approx(0.5 * px).epsilon(1e-4));
    CHECK(ground_shift(scene, 60.0).y == Approx(px).epsilon(1e-4));
  }
  SECTION("a gust swings and returns") {
    scene.gusts = {{5.0, 2.0, 1.0, {Angle::arcsec(60), Angle(), Angle()}}};
    CHECK(std::abs(ground_shift(scene, 5.125).x) > 0.8 * px);
    CHECK(ground_shift(scene, 40.0).x == Approx(0.0).margin(1e-6));
  }
  SECTION("settling ends at rest") {
    scene.settlings = {{0.0, 20.0, {Angle::arcsec(60), Angle(), Angle()}}};
    CHECK(ground_shift(scene, 200.0).x == Approx(-px).epsilon(1e-3));
  }
}

TEST_CASE("swinging the axis turns the camera about it, aiming anew ends where asked") {
  Scene scene = evening();
  scene.swings = {{1, Angle::deg(40)}};
  const auto before = frame_truth(scene, 0).camera_from_enu, after = frame_truth(scene, 1).camera_from_enu;
  const auto turn = after.inverse() * before;
  const Vec<Enu> axis = axis_of(scene);
  CHECK((turn * axis).dot(axis) == Approx(1.0));
  const double tracked = kSidereal_rad_per_s * scene.interval_s * 180.0 / std::numbers::pi;
  CHECK(std::acos((turn.m[0] + turn.m[4] + turn.m[8] - 1.0) / 2.0) * 180.0 / std::numbers::pi ==
        Approx(40.0 + tracked));
  scene.re_aims = {{1, Horizontal{Angle::deg(40), Angle::deg(35), Angle()}}};
  const Vec<Enu> looking = CameraMotion(scene, 1).at(scene.start_s(1)).inverse() * Vec<Camera>{0, 0, 1};
  CHECK(angle_between(looking, enu_from_horizontal(Angle::deg(40), Angle::deg(35))).arcsec() < 0.01);
}

TEST_CASE("projection and its inverse agree for every lens") {
  for (const Projection p :
       {Projection::rectilinear, Projection::equidistant, Projection::equisolid, Projection::stereographic}) {
    for (const double k1 : {0.0, -0.05, 0.03}) {
      Lens lens;
      lens.projection = p;
      lens.focal_mm = 12.0;
      lens.pitch_um = 6.0;
      lens.width_px = 4000;
      lens.height_px = 3000;
      lens.k1 = k1;
      lens.k2 = 0.002;
      lens.mirrored = k1 > 0.0;
      lens.principal_offset_px = {12.5, -7.25};
      for (const PixelPoint at : {PixelPoint{0, 0}, PixelPoint{2012, 1492.25}, PixelPoint{3999, 20}}) {
        const auto d = unproject(lens, at);
        REQUIRE(d);
        const auto back = project(lens, *d);
        REQUIRE(back);
        CHECK(back->x == Approx(at.x).margin(1e-8));
        CHECK(back->y == Approx(at.y).margin(1e-8));
      }
    }
  }
}

TEST_CASE("invalid scenes are named with the value") {
  Scene scene = evening();
  CHECK(scene.validate().empty());
  scene.exposure_s = 2000.0;
  CHECK(scene.validate().find("exposure_s is 2000") != std::string::npos);
}
