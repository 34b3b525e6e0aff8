// The recording's part of a scene file.
#include <cctype>

#include "simulate/scene_keys.hpp"

namespace polewright::simulate {
namespace {

void read_psf(Keys& k, PointSpread& p) {
  k.number("sigma_px", p.sigma_px);
  k.number("moffat_beta", p.moffat_beta);
  k.number("astigmatism_px", p.astigmatism_px);
  k.number("coma_px", p.coma_px);
  k.number("defocus_px", p.defocus_px);
  k.number("tilt_px", p.tilt_px);
  k.deg("tilt_direction_deg", p.tilt_direction);
}

void read_mosaic(Keys& k, Mosaic& mosaic) {
  std::string pattern;
  k.text("mosaic", pattern);
  if (pattern.empty() || pattern == "mono") return;
  if (pattern.size() != 4) k.refuse("mosaic", "mono or four letters such as RGGB");
  for (std::size_t i = 0; i < 4; ++i) {
    switch (pattern[i]) {
      case 'R':
        mosaic.colour[i] = FilterColour::red;
        break;
      case 'G':
        mosaic.colour[i] = FilterColour::green;
        break;
      case 'B':
        mosaic.colour[i] = FilterColour::blue;
        break;
      default:
        k.refuse("mosaic", "mono or four letters such as RGGB");
    }
  }
}

void read_detector(Keys& k, Detector& d) {
  read_mosaic(k, d.mosaic);
  k.table("psf", [&](Keys& t) { read_psf(t, d.psf); });
  k.number("efficiency", d.efficiency);
  k.number("sky_mag_per_arcsec2", d.sky_mag_per_arcsec2);
  k.number("sky_e_per_px", d.sky_e_per_px);
  k.number("gradient_per_frame", d.gradient_per_frame);
  k.number("vignetting_corner", d.vignetting_corner);
  k.number("read_noise_e", d.read_noise_e);
  k.flag("shot_noise", d.shot_noise);
  k.number("gain_e_per_adu", d.gain_e_per_adu);
  k.number("full_well_e", d.full_well_e);
  k.number("white_level_adu", d.white_level_adu);
  k.numbers("black_adu", d.black_adu);
  k.number("hot_pixels_per_megapixel", d.hot_pixels_per_megapixel);
  k.number("hot_pixel_e_per_s", d.hot_pixel_e_per_s);
  k.number("warm_columns_per_1000", d.warm_columns_per_1000);
  k.number("warm_column_e", d.warm_column_e);
  k.number("prnu", d.prnu);
  k.number("pattern_seed", d.pattern_seed);
  k.text("camera", d.camera);
  k.text("lens_name", d.lens_name);
}

void read_foreground(Keys& k, Foreground& f) {
  k.deg("base_altitude_deg", f.base_altitude);
  k.deg("relief_deg", f.relief);
  k.number("trees", f.trees);
  k.number("albedo", f.albedo);
  k.number("seed", f.seed);
  k.tables("lamps", f.lamps, [](Keys& t, Lamp& lamp) {
    t.deg("azimuth_deg", lamp.azimuth);
    t.deg("altitude_deg", lamp.altitude);
    t.number("e_per_s", lamp.e_per_s);
    t.deg("width_deg", lamp.width);
    t.deg("height_deg", lamp.height);
  });
}

void read_clouds(Keys& k, Clouds& c) {
  k.number("cover", c.cover);
  k.number("extinction_mag", c.extinction_mag);
  k.number("glow", c.glow);
  k.deg("scale_deg", c.scale);
  k.number("wind_deg_per_min", c.wind_deg_per_min);
  k.number("seed", c.seed);
}

void read_extras(Keys& k, Extras& e) {
  Foreground foreground;
  if (k.table("foreground", [&](Keys& t) { read_foreground(t, foreground); })) e.foreground = foreground;
  Clouds clouds;
  if (k.table("clouds", [&](Keys& t) { read_clouds(t, clouds); })) e.clouds = clouds;
  k.tables("light_dome", e.light_domes, [](Keys& t, LightDome& d) {
    t.deg("azimuth_deg", d.azimuth);
    t.number("strength", d.strength);
    t.deg("width_deg", d.width);
    t.deg("height_deg", d.height);
  });
  k.tables("streak", e.streaks, [](Keys& t, Streak& s) {
    t.number("frame", s.frame);
    t.number("from_x_px", s.from.x);
    t.number("from_y_px", s.from.y);
    t.number("to_x_px", s.to.x);
    t.number("to_y_px", s.to.y);
    t.number("begin_fraction", s.begin_fraction);
    t.number("end_fraction", s.end_fraction);
    t.number("e_per_px", s.e_per_px);
    t.number("blinks_hz", s.blinks_hz);
  });
  k.number("milky_way", e.milky_way);
  k.number("twilight", e.twilight);
  k.deg("twilight_azimuth_deg", e.twilight_azimuth);
  k.number("cosmic_rays_per_megapixel_s", e.cosmic_rays_per_megapixel_s);
}

}  // namespace

void read_render(Keys& k, RenderOptions& options) {
  k.table("detector", [&](Keys& t) { read_detector(t, options.detector); });
  k.table("extras", [&](Keys& t) { read_extras(t, options.extras); });
  k.number("seed", options.seed);
}

}  // namespace polewright::simulate
