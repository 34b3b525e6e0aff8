// Numbers and angles as headers and people write them.
#pragma once

#include <optional>
#include <string_view>

namespace polewright {

/// A whole text that is one finite number, FITS 'D' exponents included.
std::optional<double> parse_number(std::string_view text);

struct ParsedAngle {
  double value = 0.0;        ///< in the unit of the first number (degrees or hours), signed
  bool sexagesimal = false;  ///< more than one number
  char hemisphere = '\0';    ///< 'N', 'S', 'E' or 'W' when a letter says so; already in the sign
};

/// '46.55', '-22:57:08.99', '-22:57:08:99' (a fourth field holds hundredths), "46°33'00\" N", 'W 110 52.8', '7d58m48s'.
/// Nothing when the text is no angle, or a minute or second is 60 or more.
std::optional<ParsedAngle> parse_angle(std::string_view text);

}  // namespace polewright
