// Where the tripod stands and what the air does to light there.
#pragma once

#include <optional>

#include "polewright/angle.hpp"

namespace polewright {

/// Geodetic place. Latitude signed north, longitude east positive.
struct Site {
  Angle latitude;
  Angle longitude;
  double height_m = 0.0;
};

/// Air for refraction. Unknown pressure is taken from the height (standard atmosphere).
struct Weather {
  std::optional<double> pressure_hpa;
  double temperature_c = 10.0;     ///< a cool night; 10 K change refraction by 3.5 %
  double relative_humidity = 0.5;  ///< matters below 1″
  double wavelength_um = 0.55;     ///< middle of the visible band
  bool refraction = true;          ///< false: airless, for tests and the `true` pole
};

}  // namespace polewright
