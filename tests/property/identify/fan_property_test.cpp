#include <rapidcheck.h>

#include <catch2/catch.hpp>
#include <numbers>

#include "identify/fan.hpp"
#include "identify/pose.hpp"

using namespace polewright;

namespace {

double number(double low, double high) {
  return low + (high - low) * *rc::gen::inRange(0, 1'000'001) * 1e-6;
}
std::complex<double> place(double low, double high) {
  return std::polar(number(low, high), number(0, 2 * std::numbers::pi));
}
Vec<Icrs> direction() {
  return icrs_from_equatorial(Angle::deg(number(0, 360)), Angle::deg(number(-90, 90)));
}
double largest_difference(const FanCode& a, const FanCode& b) {
  double d = 0.0;
  for (std::size_t i = 0; i < 4; ++i) d = std::max(d, std::abs(a[i] - b[i]));
  return d;
}

}  // namespace

TEST_CASE("a fan's code survives turning and scaling; a mirror conjugates it") {
  CHECK(rc::check("similarity", [] {
    const auto near = place(0.1, 1), middle = place(1, 2), far = place(2, 3), turn = place(0.01, 100);
    const FanCode code = fan_code(near, middle, far);
    RC_ASSERT(largest_difference(code, fan_code(near * turn, middle * turn, far * turn)) < 1e-12);
    FanCode mirrored = fan_code(std::conj(near), std::conj(middle), std::conj(far));
    mirrored[1] = -mirrored[1];
    mirrored[3] = -mirrored[3];
    RC_ASSERT(largest_difference(code, mirrored) < 1e-12);
    for (const double c : code) RC_ASSERT(std::abs(c) <= 1.0);
  }));
}

TEST_CASE("a sky fan and its rectilinear picture near the axis have the same code") {
  // Off the axis by θ the picture is stretched by 1/cos θ more along the radius than across: at most 1.6e-3 for the
  // 0.057 rad from the axis to the far stars here, half of that in a quotient.
  CHECK(rc::check("sky and picture", [] {
    const Vec<Icrs> anchor = direction();
    const ShapePlane<Icrs> sky(anchor);
    Pose pose{attitude_from_two(anchor, direction(), {0, 0, 1}, {1, 0, 0}),
              centred_lens(Projection::rectilinear, 4000, 3000, 2000)};
    std::array<std::complex<double>, 3> up, down;
    for (std::size_t i = 0; i < 3; ++i) {
      const double far = 0.017 * static_cast<double>(i + 1) + number(0, 0.006);
      const Vec<Icrs> aside = anchor.cross(direction()).unit();
      const Vec<Icrs> d = rotation_about(aside, Angle::rad(far)) * anchor;
      up[i] = sky(d);
      const auto p = pose.project(d);
      RC_ASSERT(p.has_value());
      down[i] = {p->x - 1499.5, p->y - 999.5};
    }
    RC_ASSERT(largest_difference(fan_code(up[0], up[1], up[2]), fan_code(down[0], down[1], down[2])) < 2e-3);
  }));
}

TEST_CASE("the pose from a fan is the pose that made it, whatever the projection and side") {
  CHECK(rc::check("pose", [] {
    LensModel lens = centred_lens(*rc::gen::element(Projection::rectilinear, Projection::equidistant,
                                                    Projection::equisolid, Projection::stereographic),
                                  number(1500, 20000), 3000, 2000);
    lens.mirrored = *rc::gen::arbitrary<bool>();
    const Pose truth{
        rotation_about(Vec<Camera>{0, 0, 1}, Angle::deg(number(0, 360))) *
            attitude_from_two(direction(), icrs_from_equatorial(Angle::deg(11), Angle::deg(7)), {0, 0, 1}, {1, 0, 0}),
        lens};
    FanMatch fan;
    const PixelPoint anchor{number(0, 2999), number(0, 1999)};
    for (std::size_t i = 0; i < 4; ++i) {
      const auto offset = i == 0 ? std::complex<double>()
                                 : place(100.0 * static_cast<double>(i), 100.0 * static_cast<double>(i) + 90.0);
      fan.place[i] = {anchor.x + offset.real(), anchor.y + offset.imag()};
      const auto c = lens.unproject(fan.place[i]);
      RC_PRE(c.has_value());
      fan.direction[i] = truth.camera_from_icrs.inverse() * *c;
    }
    LensModel unknown = lens;
    unknown.focal_px = 1.0;
    const auto pose = pose_from_fan(fan, unknown);
    RC_ASSERT(pose.has_value());
    RC_ASSERT(std::abs(pose->lens.focal_px / lens.focal_px - 1.0) < 1e-5);
    for (std::size_t i = 0; i < 4; ++i) {
      const auto p = pose->project(fan.direction[i]);
      RC_ASSERT(p.has_value());
      RC_ASSERT(std::hypot(p->x - fan.place[i].x, p->y - fan.place[i].y) < 0.02);
    }
  }));
}
