#include "frame/time_stamp.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>

namespace polewright {
namespace {

/// '25/12/98' -> '1998-12-25' (FITS before 2000); other texts unchanged.
std::string modern_date(std::string_view text) {
  if (text.size() != 8 || text[2] != '/' || text[5] != '/') return std::string(text);
  return fmt::format("19{}-{}-{}", text.substr(6, 2), text.substr(3, 2), text.substr(0, 2));
}

}  // namespace

UtcTime Stamp::utc() const {
  return UtcTime::from_calendar(calendar).plus_seconds(-zone_offset_s.value_or(0));
}

std::optional<Stamp> parse_stamp(std::string_view text, std::string source, std::string_view time_of_day) {
  std::string full = modern_date(text);
  if (full.find(':') == std::string::npos || full.size() <= 10) {
    if (time_of_day.empty()) return {};
    full += "T" + std::string(time_of_day);
  }
  const auto parsed = parse_time(full);
  if (!parsed) return {};
  return Stamp{parsed->calendar, parsed->zone_offset_s, std::pow(10.0, -parsed->second_decimals), std::move(source)};
}

double stamp_difference_sigma_s(double resolution_s) {
  return std::max(resolution_s / std::sqrt(6.0), 0.01);
}

CalendarTime moved(const CalendarTime& clock, double seconds) {
  return UtcTime::from_calendar(clock).plus_seconds(seconds).calendar();
}

std::optional<int> tai_minus_utc_s(UtcTime utc) {
  struct Step {
    int year, month, seconds;
  };
  constexpr std::array<Step, 6> kSteps{
      {{2017, 1, 37}, {2015, 7, 36}, {2012, 7, 35}, {2009, 1, 34}, {2006, 1, 33}, {1999, 1, 32}}};
  for (const Step& s : kSteps)
    if (utc >= UtcTime::from_calendar({s.year, s.month, 1, 0, 0, 0.0})) return s.seconds;
  return {};
}

double greenwich_sidereal_time_deg(UtcTime utc) {
  double jd_high = 0.0, jd_low = 0.0;
  utc.julian_date(jd_high, jd_low);
  const double days = (jd_high - 2451545.0) + jd_low;
  const double turn = std::fmod(280.46061837 + 360.98564736629 * days, 360.0);
  return turn < 0.0 ? turn + 360.0 : turn;
}

}  // namespace polewright
