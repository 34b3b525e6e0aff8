#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "simulate/simulate.hpp"

using namespace polewright;
using namespace polewright::simulate;

TEST_CASE("a scene file fills the options, --set lines win") {
  const std::vector<std::string> overrides{"mount.altitude_error_arcmin = 12.5", "mount.tracking = \"half\""};
  const auto file = parse_scene(R"(
name = "quay"
[site]
latitude_deg = -41.3
[time]
first_start = "2026-02-03T22:10:00+13:00"
[mount]
altitude_error_arcmin = 3
azimuth_error_arcmin = -7
[[mount.periodic]]
amplitude_arcsec = 20
period_s = 480
)",
                                "quay.toml", overrides);
  REQUIRE(file);
  CHECK(file->name == "quay");
  CHECK(file->scene.site.latitude.deg() == Approx(-41.3));
  CHECK(file->scene.first_start.iso() == "2026-02-03T09:10:00.000Z");
  CHECK(file->scene.mount.altitude_error.arcmin() == Approx(12.5));
  CHECK(file->scene.mount.azimuth_error.arcmin() == Approx(-7.0));
  CHECK(file->scene.mount.rate_ratio == 0.5);
  REQUIRE(file->scene.mount.periodic.size() == 1);
  CHECK(file->scene.mount.periodic[0].period_s == 480.0);
}

TEST_CASE("what a scene file gets wrong is named") {
  const auto message = [](const char* text) {
    const auto file = parse_scene(text, "x.toml");
    return file ? std::string() : file.error().message();
  };
  CHECK(message("[lens]\nfocl_mm = 3").find("lens.focl_mm") != std::string::npos);
  CHECK(message("[lens]\nfocal_mm = \"long\"").find("a number") != std::string::npos);
  CHECK(message("[mount]\ntracking = \"fast\"").find("sidereal, solar") != std::string::npos);
  CHECK(message("[time]\nexposure_s = 4000\ninterval_s = 5000").find("exposure_s is 4000") != std::string::npos);
  CHECK(message("[lens").find("x.toml") != std::string::npos);
}

TEST_CASE("the example scene lists only keys the reader knows") {
  std::ifstream in(std::string(POLEWRIGHT_SOURCE_DIR) + "/tools/simulate/scene_example.toml");
  std::ostringstream text;
  text << in.rdbuf();
  REQUIRE_FALSE(text.str().empty());
  const auto file = parse_scene(text.str(), "scene_example.toml");
  INFO((file ? std::string() : file.error().message()));
  CHECK(file);
}

TEST_CASE("truth is written with the axis, the errors and each frame") {
  Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  scene.lens.width_px = 64;
  scene.lens.height_px = 48;
  scene.mount.altitude_error = Angle::arcmin(-18);
  RenderOptions options;
  std::vector<RenderedFrame> frames{render_frame(scene, {}, 0, options), render_frame(scene, {}, 1, options)};
  const std::vector<std::string> names{"a.fits", "b.fits"};
  const auto json = nlohmann::json::parse(truth_json(scene, frames, names));
  CHECK(json.at("mount").at("altitude_error_arcmin").get<double>() == Approx(-18.0));
  REQUIRE(json.at("frames").size() == 2);
  CHECK(json.at("frames")[1].at("file") == "b.fits");
  CHECK(json.at("frames")[1].at("mid_time_utc") == "2026-10-09T20:18:15.000Z");
  CHECK(json.at("frames")[0].at("camera_from_enu").size() == 9);
}
