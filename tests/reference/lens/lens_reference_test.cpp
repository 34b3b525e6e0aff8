// Lens projections and distortion against handbook values (sources in check-values.json, section 7_misc).
#include <catch2/catch.hpp>

#include "polewright/lens.hpp"
#include "support/check_values.hpp"

using namespace polewright;
using polewright::test::check_values;

namespace {

LensModel plain_lens(Projection projection, double focal) {
  LensModel lens;
  lens.projection = projection;
  lens.focal_px = focal;
  return lens;
}

Vec<Camera> off_axis(double theta_deg) {
  return {std::sin(Angle::deg(theta_deg).rad()), 0.0, std::cos(Angle::deg(theta_deg).rad())};
}

}  // namespace

TEST_CASE("projections: radius for a focal length of 8 at five angles") {
  const std::pair<Projection, const char*> kinds[] = {{Projection::rectilinear, "gnomonic"},
                                                      {Projection::stereographic, "stereographic"},
                                                      {Projection::equidistant, "equidistant"},
                                                      {Projection::equisolid, "equisolid"}};
  int checked = 0;
  for (const auto& row : check_values("7_misc")) {
    if (row.value("name", "") != "projection r(mm) f=8") continue;
    for (const auto& [projection, column] : kinds) {
      const auto p = plain_lens(projection, 8.0).project(off_axis(row.at("theta")));
      REQUIRE(p);
      CHECK(p->x == Approx(row.at(column).get<double>()).epsilon(1e-10));
      CHECK(p->y == 0.0);
      ++checked;
    }
  }
  CHECK(checked == 20);
}

TEST_CASE("radial distortion: the Brown-Conrady rows, their other terms taken off") {
  // Rows are (k1, k2, p1, p2, k3) as in OpenCV's documentation of its camera model; the lens has k1 and k2 only, so the
  // tangential and sixth-order terms of the same published formula are subtracted here.
  int checked = 0;
  for (const auto& row : check_values("7_misc")) {
    if (row.value("name", "") != "Brown-Conrady / KB fisheye") continue;
    const double x = row.at("x"), y = row.at("y"), r2 = x * x + y * y;
    const auto& k = row.at("k");
    const double p1 = k[2], p2 = k[3], k3 = k[4];
    const double rest_x = x * k3 * r2 * r2 * r2 + 2 * p1 * x * y + p2 * (r2 + 2 * x * x);
    const double rest_y = y * k3 * r2 * r2 * r2 + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y;
    LensModel lens = plain_lens(Projection::rectilinear, 1.0);
    lens.k1 = k[0];
    lens.k2 = k[1];
    const auto p = lens.project(Vec<Camera>{x, y, 1.0}.unit());
    REQUIRE(p);
    CHECK(p->x == Approx(row.at("xd").get<double>() - rest_x).margin(1e-12));
    CHECK(p->y == Approx(row.at("yd").get<double>() - rest_y).margin(1e-12));
    ++checked;
  }
  CHECK(checked == 3);
}

TEST_CASE("pixel scale by focal length and pitch") {
  int checked = 0;
  for (const auto& row : check_values("5_trails")) {
    if (row.value("name", "") != "pixel scale") continue;
    const double focal_px = row.at("f_mm").get<double>() * 1000.0 / row.at("pitch_um").get<double>();
    CHECK(plain_lens(Projection::rectilinear, focal_px).scale_per_px().arcsec() ==
          Approx(row.at("scale_exact_axis").get<double>()).epsilon(1e-6));
    ++checked;
  }
  CHECK(checked >= 6);
}

TEST_CASE("project and unproject undo each other, mirrored or not, distorted or not") {
  for (const Projection projection :
       {Projection::rectilinear, Projection::equidistant, Projection::equisolid, Projection::stereographic})
    for (const bool mirrored : {false, true})
      for (const double k1 : {-0.12, 0.0, 0.08}) {
        LensModel lens = centred_lens(projection, 2500.0, 4000, 3000);
        lens.principal_point.x += 12.5;
        lens.k1 = k1;
        lens.k2 = 0.02;
        lens.mirrored = mirrored;
        for (double x = 0; x <= 4000; x += 500)
          for (double y = 0; y <= 3000; y += 500) {
            const auto direction = lens.unproject({x, y});
            REQUIRE(direction);
            CHECK(direction->norm() == Approx(1.0).epsilon(1e-14));
            const auto back = lens.project(*direction);
            REQUIRE(back);
            CHECK(back->x == Approx(x).margin(1e-8));
            CHECK(back->y == Approx(y).margin(1e-8));
          }
      }
}

TEST_CASE("mirroring turns left and right about and nothing else") {
  LensModel lens = plain_lens(Projection::rectilinear, 1000.0);
  const auto plain = lens.project(Vec<Camera>{0.1, 0.2, 1.0}.unit());
  lens.mirrored = true;
  const auto mirrored = lens.project(Vec<Camera>{0.1, 0.2, 1.0}.unit());
  CHECK(mirrored->x == -plain->x);
  CHECK(mirrored->y == plain->y);
}

TEST_CASE("directions the lens cannot show have no pixel") {
  CHECK_FALSE(plain_lens(Projection::rectilinear, 1000.0).project({0.0, 0.0, -1.0}));
  CHECK_FALSE(plain_lens(Projection::rectilinear, 1000.0).project({1.0, 0.0, 0.0}));
  CHECK(plain_lens(Projection::equidistant, 1000.0).project({1.0, 0.0, -0.1}));
  CHECK_FALSE(plain_lens(Projection::equisolid, 1000.0).unproject({2100.0, 0.0}));
  LensModel barrel = plain_lens(Projection::rectilinear, 1000.0);
  barrel.k1 = -0.3;  // r·(1 − 0.3 r²) turns back at r = 1.054
  CHECK_FALSE(barrel.project(off_axis(50.0)));
  CHECK_FALSE(barrel.unproject({900.0, 0.0}));
}
