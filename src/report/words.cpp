#include "report/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace polewright::report {

std::string arcmin_text(Angle angle) {
  const double v = std::abs(angle.arcmin());
  if (v < 10.0) return fmt::format("{:.1f}′", v);
  if (v < 59.5) return fmt::format("{:.0f}′", v);
  const long minutes = std::lround(v);
  return fmt::format("{}°{:02}′", minutes / 60, minutes % 60);
}

std::string degree_text(Angle angle) {
  return fmt::format("{:.2f}°", std::abs(angle.deg()));
}

std::string degree_minute_text(Angle angle) {
  const double tenths = std::round(std::abs(angle.arcmin()) * 10.0);
  const int degrees = static_cast<int>(tenths / 600.0);
  return fmt::format("{}{}°{:04.1f}′", angle.rad() < 0 && tenths > 0 ? "−" : "", degrees,
                     tenths / 10.0 - degrees * 60.0);
}

std::string duration_text(double seconds) {
  if (seconds < 9.95) return fmt::format("{:.1f} s", seconds);
  const long s = std::lround(seconds);
  if (s < 120) return fmt::format("{} s", s);
  if (s < 7200)
    return s % 60 == 0 || s > 1200 ? fmt::format("{} min", s / 60) : fmt::format("{} min {} s", s / 60, s % 60);
  return fmt::format("{} h {} min", s / 3600, s % 3600 / 60);
}

std::string plus_minus(double value, double sigma) {
  if (!(sigma > 0.0)) return fmt::format("{:.4g}", value);
  const int decimals = std::clamp(1 - static_cast<int>(std::floor(std::log10(sigma))), 0, 7);
  return fmt::format("{:.{}f} ± {:.{}f}", value, decimals, sigma, decimals);
}

std::string printable(const std::string& text) {
  std::string out = text;
  std::replace_if(
      out.begin(), out.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; }, '?');
  return out;
}

}  // namespace polewright::report
