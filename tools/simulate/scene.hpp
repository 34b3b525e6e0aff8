// What happens in front of the lens and under it: place, time, optics, pointing, mount and its misfortunes.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "polewright/angle.hpp"
#include "polewright/geometry.hpp"
#include "polewright/site.hpp"
#include "polewright/time.hpp"

namespace polewright::simulate {

/// Ideal radial mapping r(θ) in focal lengths: tan θ, θ, 2 sin(θ/2), 2 tan(θ/2).
enum class Projection { rectilinear, equidistant, equisolid, stereographic };

struct Lens {
  double focal_mm = 50.0;
  double pitch_um = 3.9;
  int width_px = 1500, height_px = 1000;
  Projection projection = Projection::rectilinear;
  double k1 = 0.0, k2 = 0.0;       ///< r_d = r·(1 + k1 r² + k2 r⁴), r in focal lengths
  PixelPoint principal_offset_px;  ///< of the optical axis from the frame's centre
  bool mirrored = false;           ///< left and right swapped
  double f_number = 2.8;

  [[nodiscard]] double focal_px() const { return focal_mm * 1000.0 / pitch_um; }
  [[nodiscard]] PixelPoint principal_point() const {
    return {0.5 * (width_px - 1) + principal_offset_px.x, 0.5 * (height_px - 1) + principal_offset_px.y};
  }
};

/// Camera aimed over the ground; at roll 0 the picture's top is towards the zenith, positive roll turns the camera
/// clockwise as seen from behind it.
struct Horizontal {
  Angle azimuth, altitude, roll;
};
/// Camera aimed at a place of the sky (ICRS); position angle of the picture's top, north through east.
struct Equatorial {
  Angle right_ascension, declination, position_angle;
};
/// Attitude the camera has at the start of the exposure it is given for.
using Pointing = std::variant<Horizontal, Equatorial, Rotation<Camera, Enu>>;

enum class AboutPole { refracted, true_pole };

/// Turn of the worm: amplitude·sin(2π t/period + phase), t from the start of the first exposure; zero at t = 0.
struct PeriodicError {
  Angle amplitude;
  double period_s = 600.0;
  Angle phase;
};

struct Mount {
  Angle altitude_error;  ///< positive: axis too high
  Angle azimuth_error;   ///< turn of the base, positive: axis east of the pole, both hemispheres
  AboutPole about = AboutPole::refracted;
  double rate_ratio = 1.0;  ///< of sidereal: 0 stopped, 0.5 half, −1 hemisphere switch the wrong way
  std::vector<PeriodicError> periodic;
};

/// A small turn of the camera on the mount, told by what it does to the picture: star images near the optical axis move
/// by `amount` towards `direction` (0 along +x, 90° along +y) and the field rolls from +x towards +y.
struct Nudge {
  Angle amount;
  Angle direction;
  Angle roll;
};

/// Ball head giving way: the nudge grows linearly, `per_minute` each minute from the first exposure on.
struct Sag {
  Nudge per_minute;
};
/// The axis is swung by hand (clutch open) before the given frame, positive in the tracking direction.
struct Swing {
  int before_frame = 1;
  Angle turn;
};
/// The camera is aimed anew on its ball head before the given frame; the axis stays.
struct ReAim {
  int before_frame = 1;
  Pointing pointing;
};
/// A clamp slips: from the given time on the picture is shifted.
struct Slip {
  double at_s = 0.0;
  Nudge nudge;
};
/// A gust or knock: a decaying swing that ends where it began.
struct Gust {
  double at_s = 0.0;
  double frequency_hz = 2.0;
  double decay_s = 2.0;
  Nudge nudge;
};
/// Slack taken up after the drive starts: the nudge dies away as exp(−t/decay).
struct Settling {
  double at_s = 0.0;
  double decay_s = 60.0;
  Nudge nudge;
};

struct Scene {
  Site site{Angle::deg(46.0), Angle::deg(10.0), 1500.0};
  Weather weather;
  UtcTime first_start;  ///< shutter opens on frame 0; the origin of every `_s` above
  int frames = 2;
  double exposure_s = 30.0;
  double interval_s = 180.0;   ///< from shutter opening to shutter opening
  double clock_error_s = 0.0;  ///< camera clock minus UTC; only the stamps know it
  Lens lens;
  Pointing pointing = Horizontal{Angle::deg(180), Angle::deg(45), Angle()};
  Mount mount;
  std::optional<Sag> sag;
  std::vector<Swing> swings;
  std::vector<ReAim> re_aims;
  std::vector<Slip> slips;
  std::vector<Gust> gusts;
  std::vector<Settling> settlings;

  [[nodiscard]] double start_s(int frame) const { return interval_s * frame; }
  /// First violated constraint with the value found; empty when all is well.
  [[nodiscard]] std::string validate() const;
};

}  // namespace polewright::simulate
