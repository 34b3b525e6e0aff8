// The bound we judge the fit by, and the fit's own expectation, against the check values 6b_crlb_joint (joint Fisher
// information, recomputed there with numpy) and 6c_rate_known.
#include "truth/mount/sessions/bound.hpp"

#include <catch2/catch.hpp>

#include "support/check_values.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

struct Setup {
  double focal_mm = 50.0, interval_s = 180.0, dec_deg = 0.0, hour_angle_h = 0.0, latitude_deg = 45.0;
  int stars = 200, width = 6000, height = 4000;
  double sigma_px = 0.05;
};

/// Camera with its columns along the meridian of the sky, as the check values have it.
Rotation<Camera, Enu> along_meridian(Vec<Enu> z, Vec<Enu> pole) {
  const Vec<Enu> east = pole.cross(z).unit(), north = z.cross(east);
  const Vec<Enu> x = -east, y = -north;
  return {{x.x, x.y, x.z, y.x, y.y, y.z, z.x, z.y, z.z}};
}

/// The check values hold in the middle of the interval.
Angle hour_angle_at_start(const Setup& c) {
  return Angle::hours(c.hour_angle_h) - Angle::rad(0.5 * kSiderealRate_rad_per_s * c.interval_s);
}

AxisBound bound_of(const Setup& c, bool known_turns = false) {
  const Site site{Angle::deg(c.latitude_deg), Angle(), 0.0};
  const Vec<Enu> pole = enu_of(site, Angle(), Angle::deg(90.0));
  const auto first = along_meridian(enu_of(site, hour_angle_at_start(c), Angle::deg(c.dec_deg)), pole);
  const double turn = -kSiderealRate_rad_per_s * c.interval_s;
  std::vector<BoundFrame> frames{{first, 0, {}}, {first * rotation_about(pole, Angle::rad(turn)).inverse(), 0, {}}};
  // Sixty by forty places stand for evenly spread stars (second moments 0.03 % short); the sigma makes up the number.
  for (BoundFrame& f : frames)
    for (int r = 0; r < 40; ++r)
      for (int k = 0; k < 60; ++k)
        f.stars.push_back({(k + 0.5) * c.width / 60.0 - 0.5, (r + 0.5) * c.height / 40.0 - 0.5});
  return axis_bound(frames, pole, site, {c.focal_mm * 1000.0 / 3.9, 0.5 * (c.width - 1), 0.5 * (c.height - 1)},
                    c.sigma_px * std::sqrt(2400.0 / c.stars), known_turns);
}

Setup read(const nlohmann::json& c) {
  Setup s;
  s.focal_mm = c.value("f_mm", 50.0);
  s.interval_s = c.value("dt_s", 180.0);
  s.dec_deg = c.at("dec");
  s.hour_angle_h = c.contains("H_h") ? c.at("H_h").get<double>() : c.at("H").get<double>();
  s.latitude_deg = c.value("lat", 45.0);
  return s;
}

void compare(const Setup& s, const AxisBound& b, const nlohmann::json& expected) {
  INFO(expected.dump());
  // 2 %: the check values linearise the turn (2.5° at most), and their stars are an even spread too.
  CHECK(b.altitude_sigma.arcmin() == Approx(expected.at("e_alt").get<double>()).epsilon(0.02));
  CHECK(b.azimuth_on_sky_sigma.arcmin() == Approx(expected.at("e_az_onsky").get<double>()).epsilon(0.02));
  if (expected.contains("tot")) CHECK(b.total_sigma.arcmin() == Approx(expected.at("tot").get<double>()).epsilon(0.02));
  if (expected.contains("rate_ppm"))
    CHECK(b.turn_sigma_rad[1] / (kSiderealRate_rad_per_s * s.interval_s) * 1e6 ==
          Approx(expected.at("rate_ppm").get<double>()).epsilon(0.02));
}

}  // namespace

TEST_CASE("bound of a pair: 108 published cases") {
  int compared = 0;
  for (const auto& c : check_values("6b_crlb_joint")) {
    const Setup s = read(c);
    compare(s, bound_of(s), c);
    ++compared;
  }
  CHECK(compared == 108);
}

TEST_CASE("bound of a pair: stars, centroids, camera on its side") {
  int compared = 0;
  for (const auto& c : check_values("6b_crlb_joint_variants")) {
    const std::string name = c.at("variant");
    if (!c.contains("dec")) continue;  // the Monte Carlo line
    Setup s = read(c);
    if (name == "50 stars") s.stars = 50;
    if (name == "1000 stars") s.stars = 1000;
    if (name == "0.02 px") s.sigma_px = 0.02;
    if (name == "0.2 px") s.sigma_px = 0.2;
    if (name == "camera portrait") std::swap(s.width, s.height);
    compare(s, bound_of(s), c);
    ++compared;
  }
  CHECK(compared >= 30);
}

TEST_CASE("bound with the turn known, and with it free") {
  for (const auto& c : check_values("6c_rate_known")) {
    const Setup s = read(c);
    compare(s, bound_of(s, true), c.at("rate_known"));
    compare(s, bound_of(s), c.at("rate_free"));
  }
}

TEST_CASE("the planner expects what the bound allows") {
  for (const auto& c : check_values("6b_crlb_joint")) {
    const Setup s = read(c);
    PlannedSession plan;
    plan.site = {Angle::deg(s.latitude_deg), Angle(), 0.0};
    plan.width_px = s.width;
    plan.height_px = s.height;
    plan.lens = centred_lens(Projection::rectilinear, s.focal_mm * 1000.0 / 3.9, s.width, s.height);
    const Vec<Enu> up{0.0, 0.0, 1.0};
    const Vec<Enu> z = enu_of(plan.site, hour_angle_at_start(s), Angle::deg(s.dec_deg));
    // Roll of the zenith against the sky's north at this place.
    const Vec<Enu> pole = enu_of(plan.site, Angle(), Angle::deg(90.0));
    const Vec<Enu> level = z.cross(up).unit(), down = z.cross(level), west = z.cross(pole).unit();
    plan.pointings = {{z, Angle::rad(std::atan2(west.dot(down), west.dot(level)))}};
    plan.frames = {{0.0, Angle(), 0}, {s.interval_s, Angle(), 0}};
    const ExpectedAxis expected = expected_axis(plan);
    INFO(c.dump());
    REQUIRE(expected.observable);
    // 3 %: 12 × 17 stars in place of an even spread, and the refracted pole a minute higher.
    CHECK(std::sqrt(expected.on_sky_cov_arcmin2.xx) == Approx(c.at("e_alt").get<double>()).epsilon(0.03));
    CHECK(std::sqrt(expected.on_sky_cov_arcmin2.yy) == Approx(c.at("e_az_onsky").get<double>()).epsilon(0.03));
    CHECK(expected.total_sigma.arcmin() == Approx(c.at("tot").get<double>()).epsilon(0.03));
  }
}
