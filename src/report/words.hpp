// How figures are worded for people in the dark: rounded to what the uncertainty supports, unit always said.
#pragma once

#include <optional>
#include <string>

#include "polewright/angle.hpp"
#include "polewright/report.hpp"

namespace polewright::report {

/// "18.2′", "1°24′": below 60′ in arcminutes, above in degrees and arcminutes.
[[nodiscard]] std::string arcmin_text(Angle angle);
/// "0.30°".
[[nodiscard]] std::string degree_text(Angle angle);
/// "46°12.3′ N" style place: sign worded by the caller.
[[nodiscard]] std::string degree_minute_text(Angle angle);
/// "8.4 s", "2 min 10 s", "1 h 5 min".
[[nodiscard]] std::string duration_text(double seconds);
/// "0.0003" with as many decimals as sigma needs (two figures of sigma).
[[nodiscard]] std::string plus_minus(double value, double sigma);
/// Text with control characters replaced, so that a file's name cannot steer a terminal.
[[nodiscard]] std::string printable(const std::string& text);

struct Emphasis {
  const char* on = "";
  const char* off = "";
};
[[nodiscard]] inline Emphasis emphasis(const TextStyle& style) {
  return style.colour ? Emphasis{"\033[1m", "\033[0m"} : Emphasis{};
}

}  // namespace polewright::report
