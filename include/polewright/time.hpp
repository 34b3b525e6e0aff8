// UTC instants with microsecond resolution.
#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace polewright {

/// Calendar date and time of day without a zone; fields in their usual ranges, seconds with fraction.
struct CalendarTime {
  int year = 1970, month = 1, day = 1, hour = 0, minute = 0;
  double second = 0.0;
};

/// An instant in UTC. Leap seconds are folded as POSIX time does; the error is below one second on those days only.
class UtcTime {
 public:
  constexpr UtcTime() = default;
  static constexpr UtcTime from_unix_us(std::int64_t us) { return UtcTime(us); }
  static UtcTime from_calendar(const CalendarTime& utc);
  static UtcTime from_julian_date(double jd_high, double jd_low);

  [[nodiscard]] constexpr std::int64_t unix_us() const { return us_; }
  [[nodiscard]] CalendarTime calendar() const;
  /// Quasi Julian date in two parts as ERFA wants it; the first part ends in .5 exactly.
  void julian_date(double& jd_high, double& jd_low) const;
  [[nodiscard]] UtcTime plus_seconds(double s) const;
  /// this − other, in seconds.
  [[nodiscard]] double seconds_since(UtcTime other) const;
  /// ISO 8601 with three decimals and Z: 2026-11-25T19:03:07.250Z.
  [[nodiscard]] std::string iso() const;

  constexpr auto operator<=>(const UtcTime&) const = default;

 private:
  explicit constexpr UtcTime(std::int64_t us) : us_(us) {}
  std::int64_t us_ = 0;
};

/// Reads ISO 8601 / FITS / EXIF forms: 'YYYY-MM-DD[T| ]hh:mm:ss[.f…][Z|±hh[:]mm]' and 'YYYY:MM:DD hh:mm:ss'.
/// A date alone means 00:00:00. Returns nothing when the text is not a valid date and time.
struct ParsedTime {
  CalendarTime calendar;
  std::optional<int> zone_offset_s;  ///< seconds east of UTC when the text says so (Z = 0)
  int second_decimals = 0;           ///< digits after the decimal point of the seconds
};
[[nodiscard]] std::optional<ParsedTime> parse_time(std::string_view text);

}  // namespace polewright
