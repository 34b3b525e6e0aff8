#include <catch2/catch.hpp>
#include <cmath>

#include "polewright/identify.hpp"
#include "polewright/sky.hpp"
#include "support/check_values.hpp"
#include "truth/identify/synthetic_field.hpp"

using namespace polewright;
using namespace polewright::test;

TEST_CASE("the celestial pole of date lies in the picture where ERFA has it") {
  // Direction of the true pole (CIP): check-values.json, 2_pole, 2026-11-24. A picture is made around each pole through
  // a known lens with the observed places of the stars; the pole's own place in it follows from refraction alone.
  // 0.1 px: centroid noise of some hundred stars at 0.1–0.3 px leaves a few hundredths.
  const auto catalogue = Catalogue::open();
  REQUIRE(catalogue);
  Vec<Icrs> cip{};
  for (const auto& value : check_values("2_pole"))
    if (value.contains("pole") && value.at("date") == "2026-11-24.0 (2026.9)")
      cip = {value.at("X").get<double>(), value.at("Y").get<double>(), value.at("Z").get<double>()};
  REQUIRE(cip.z > 0.9);
  for (const double side : {1.0, -1.0}) {
    std::mt19937_64 random(17);
    Scene scene = random_scene(random, 100.0, 100.0);
    scene.time = UtcTime::from_calendar({2026, 11, 24, 0, 0, 0.0});
    scene.site = {Angle::deg(side * 47.0), Angle::deg(8.0), 500.0};
    const Vec<Enu> pole = visible_pole(scene.site, Weather{}, ReferencePole::refracted);
    const Vec<Enu> across = pole.cross(Vec<Enu>{1, 0, 0}).unit(), right = across.cross(pole);
    scene.camera_from_enu = {{right.x, right.y, right.z, across.x, across.y, across.z, pole.x, pole.y, pole.z}};
    scene.limiting_magnitude = 9.5;
    const SyntheticField field = synthetic_field(*catalogue, scene, Spoilers{}, random);
    IdentifyHints hints;
    hints.time = scene.time;
    hints.site = scene.site;
    const IdentifyResult result = identify(field.stars, *catalogue, hints);
    REQUIRE(result.identification);
    const auto& id = *result.identification;
    REQUIRE(id.camera_from_enu);
    const auto by_ground = id.lens.project(*id.camera_from_enu * pole);
    const auto truth = scene.lens.project(Vec<Camera>{0, 0, 1});
    REQUIRE(by_ground);
    CHECK(std::hypot(by_ground->x - truth->x, by_ground->y - truth->y) < 0.1);
    // Through ICRS: ERFA's pole direction, as the sky stage observes it from here. Aberration moves a star at the pole
    // by up to 20.5″ against the pole itself, which the comparison allows for at this scale, and polar motion is 0.5″.
    const auto by_sky = id.lens.project(id.camera_from_icrs * (cip * side));
    REQUIRE(by_sky);
    const double aberration_px = Angle::arcsec(21.0).rad() * id.lens.focal_px;
    CHECK(std::hypot(by_sky->x - truth->x, by_sky->y - truth->y) < aberration_px + 0.3);
  }
}
