// How the scene is recorded: optics' flaws, sensor, sky light, and what else wanders through the picture.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "polewright/angle.hpp"
#include "polewright/frame.hpp"

namespace polewright::simulate {

/// Shape of a star image at rest. Blur beyond `sigma_px` grows over the field with f = distance from the centre in half
/// diagonals: radial (+) or tangential (−) elongation and a comet-like tail pointing outwards, both at f = 1.
struct PointSpread {
  double sigma_px = 1.0;
  std::optional<double> moffat_beta;  ///< Moffat wings instead of a Gaussian; same width at half maximum
  double astigmatism_px = 0.0;        ///< 1σ added along the radius at the corner (f² law); negative: across it
  double coma_px = 0.0;               ///< length of the tail at the corner (f law)
  double defocus_px = 0.0;            ///< radius of the blur disc everywhere
  double tilt_px = 0.0;               ///< further disc radius at one edge, going through 0 at the centre
  Angle tilt_direction;               ///< towards the edge where it is largest
};

struct Detector {
  Mosaic mosaic;
  PointSpread psf;
  double efficiency = 0.45;            ///< electrons per photon of the V band reaching the front lens
  double sky_mag_per_arcsec2 = 20.8;   ///< a village sky
  std::optional<double> sky_e_per_px;  ///< whole exposure; overrides the line above (all colours alike)
  double gradient_per_frame = 0.0;     ///< sky rises by this fraction from the left to the right edge
  double vignetting_corner = 0.0;      ///< light lost in the corner, 0…1
  double read_noise_e = 2.5;
  bool shot_noise = true;
  double gain_e_per_adu = 0.8;
  double full_well_e = 40000.0;
  double white_level_adu = 16383.0;  ///< 14-bit converter
  std::array<double, 4> black_adu{512, 512, 512, 512};
  double hot_pixels_per_megapixel = 60.0;
  double hot_pixel_e_per_s = 80.0;  ///< mean of an exponential distribution
  double warm_columns_per_1000 = 0.0;
  double warm_column_e = 15.0;
  double prnu = 0.0;                ///< 1σ of the pixels' sensitivity
  std::uint64_t pattern_seed = 77;  ///< of what stays the same from frame to frame
  std::string camera = "Lanternworks Field 24";
  std::string lens_name;

  [[nodiscard]] std::string validate() const;
};

/// A lamp in the landscape; it stays with the ground and trails while the mount tracks.
struct Lamp {
  Angle azimuth, altitude;
  double e_per_s = 2.0e5;
  Angle width, height;  ///< a lit window when not zero
};

/// Jagged skyline with trees, black against the sky. Ridge altitude = base + relief, seen over all azimuths.
struct Foreground {
  Angle base_altitude = Angle::deg(8);
  Angle relief = Angle::deg(4);
  double trees = 0.6;    ///< 0 bare rock … 1 forest on the ridge
  double albedo = 0.02;  ///< brightness of the ground as a share of the sky's
  std::uint64_t seed = 5;
  std::vector<Lamp> lamps;
};

/// A straight streak across the frame; blinks_hz > 0 is an aircraft's strobe beside its steady lamp.
struct Streak {
  int frame = 0;
  PixelPoint from, to;
  double begin_fraction = 0.0, end_fraction = 1.0;  ///< of the exposure
  double e_per_px = 600.0;
  double blinks_hz = 0.0;
};

struct Clouds {
  double cover = 0.4;           ///< share of the sky
  double extinction_mag = 2.0;  ///< in the thick parts
  double glow = 0.5;            ///< brightening of the sky there, as a share
  Angle scale = Angle::deg(6);
  double wind_deg_per_min = 1.0;
  std::uint64_t seed = 9;
};

struct LightDome {
  Angle azimuth;
  double strength = 1.0;  ///< sky brightness added at the horizon in its middle, in units of the zenith sky
  Angle width = Angle::deg(40), height = Angle::deg(12);
};

struct Extras {
  std::optional<Foreground> foreground;
  std::optional<Clouds> clouds;
  std::vector<LightDome> light_domes;
  std::vector<Streak> streaks;
  double milky_way = 0.0;  ///< peak brightness in units of the sky
  double twilight = 0.0;   ///< added brightness at the horizon below which the Sun stands, in units of the sky
  Angle twilight_azimuth = Angle::deg(270);
  double cosmic_rays_per_megapixel_s = 0.0;
};

}  // namespace polewright::simulate
