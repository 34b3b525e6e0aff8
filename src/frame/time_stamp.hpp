// Time stamps of headers: what instant a text means and how finely it says so.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "polewright/time.hpp"

namespace polewright {

/// A stamp as written: wall clock, zone when recorded, resolution of its last digit.
struct Stamp {
  CalendarTime calendar;
  std::optional<int> zone_offset_s;
  double resolution_s = 1.0;
  std::string source;

  /// The instant, for a stamp that records its zone or is known to be UTC.
  [[nodiscard]] UtcTime utc() const;
};

/// A date with time of day, as ISO 8601, FITS or EXIF write it, and FITS's old 'dd/mm/yy' (1900s). A bare date takes
/// its time of day from `time_of_day` ('hh:mm:ss[.f]'); without one it is no stamp.
std::optional<Stamp> parse_stamp(std::string_view text, std::string source, std::string_view time_of_day = {});

/// 1σ of the difference between two stamps whose last digit counts `resolution_s`: each is off by an even spread over
/// one step (step/√12), so their difference by step/√6 = 0.41 step. Not below 10 ms: shutters and computers are no
/// better than that (common practice, no source).
double stamp_difference_sigma_s(double resolution_s);

/// `clock` moved by some seconds, over midnight and months if need be.
CalendarTime moved(const CalendarTime& clock, double seconds);

/// TAI − UTC in seconds at a UTC instant, from 1999 on (IERS Bulletin C); nothing before.
std::optional<int> tai_minus_utc_s(UtcTime utc);

/// Greenwich mean sidereal time in degrees (IAU 1982, to a second of time): good enough to tell east from west.
double greenwich_sidereal_time_deg(UtcTime utc);

}  // namespace polewright
