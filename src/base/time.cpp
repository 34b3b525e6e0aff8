#include "polewright/time.hpp"

#include <fmt/format.h>

#include <charconv>
#include <chrono>
#include <cmath>

namespace polewright {
namespace {

constexpr std::int64_t kUsPerDay = 86'400'000'000;
constexpr double kUnixEpochJd = 2440587.5;

/// Reads exactly `digits` digits at `at`; moves on. False when there are none.
bool take_number(std::string_view text, std::size_t& at, std::size_t digits, int& out) {
  if (at + digits > text.size()) return false;
  const auto [end, ec] = std::from_chars(text.data() + at, text.data() + at + digits, out);
  if (ec != std::errc{} || end != text.data() + at + digits || text[at] == '-') return false;
  at += digits;
  return true;
}

bool take_any(std::string_view text, std::size_t& at, std::string_view allowed) {
  if (at >= text.size() || allowed.find(text[at]) == std::string_view::npos) return false;
  ++at;
  return true;
}

bool valid(const CalendarTime& c) {
  const std::chrono::year_month_day day{std::chrono::year(c.year), std::chrono::month(static_cast<unsigned>(c.month)),
                                        std::chrono::day(static_cast<unsigned>(c.day))};
  return day.ok() && c.year > 0 && c.hour >= 0 && c.hour < 24 && c.minute >= 0 && c.minute < 60 && c.second >= 0.0 &&
         c.second < 61.0;
}

}  // namespace

UtcTime UtcTime::from_calendar(const CalendarTime& c) {
  const std::chrono::sys_days day =
      std::chrono::year_month_day{std::chrono::year(c.year), std::chrono::month(static_cast<unsigned>(c.month)),
                                  std::chrono::day(static_cast<unsigned>(c.day))};
  const std::int64_t whole = (c.hour * 60LL + c.minute) * 60'000'000LL;
  return UtcTime(day.time_since_epoch().count() * kUsPerDay + whole + std::llround(c.second * 1e6));
}

UtcTime UtcTime::from_julian_date(double jd_high, double jd_low) {
  const double days = (jd_high - kUnixEpochJd) + jd_low;
  return UtcTime(std::llround(days * static_cast<double>(kUsPerDay)));
}

CalendarTime UtcTime::calendar() const {
  std::int64_t days = us_ / kUsPerDay, rest = us_ % kUsPerDay;
  if (rest < 0) {
    rest += kUsPerDay;
    --days;
  }
  const std::chrono::year_month_day day{std::chrono::sys_days{std::chrono::days{days}}};
  CalendarTime c;
  c.year = static_cast<int>(day.year());
  c.month = static_cast<int>(static_cast<unsigned>(day.month()));
  c.day = static_cast<int>(static_cast<unsigned>(day.day()));
  c.hour = static_cast<int>(rest / 3'600'000'000);
  c.minute = static_cast<int>(rest / 60'000'000 % 60);
  c.second = static_cast<double>(rest % 60'000'000) * 1e-6;
  return c;
}

void UtcTime::julian_date(double& jd_high, double& jd_low) const {
  std::int64_t days = us_ / kUsPerDay, rest = us_ % kUsPerDay;
  if (rest < 0) {
    rest += kUsPerDay;
    --days;
  }
  jd_high = kUnixEpochJd + static_cast<double>(days);
  jd_low = static_cast<double>(rest) / static_cast<double>(kUsPerDay);
}

UtcTime UtcTime::plus_seconds(double s) const {
  return UtcTime(us_ + std::llround(s * 1e6));
}

double UtcTime::seconds_since(UtcTime other) const {
  return static_cast<double>(us_ - other.us_) * 1e-6;
}

std::string UtcTime::iso() const {
  const UtcTime rounded(static_cast<std::int64_t>(std::floor(static_cast<double>(us_) / 1000.0 + 0.5)) * 1000);
  const CalendarTime c = rounded.calendar();
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:06.3f}Z", c.year, c.month, c.day, c.hour, c.minute, c.second);
}

std::optional<ParsedTime> parse_time(std::string_view text) {
  while (!text.empty() && (text.back() == ' ' || text.back() == '\0')) text.remove_suffix(1);
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  ParsedTime p;
  CalendarTime& c = p.calendar;
  std::size_t at = 0;
  if (!take_number(text, at, 4, c.year) || !take_any(text, at, "-:/") || !take_number(text, at, 2, c.month) ||
      !take_any(text, at, "-:/") || !take_number(text, at, 2, c.day))
    return {};
  if (at == text.size()) return valid(c) ? std::optional(p) : std::nullopt;
  if (!take_any(text, at, "T ")) return {};
  if (!take_number(text, at, 2, c.hour) || !take_any(text, at, ":") || !take_number(text, at, 2, c.minute)) return {};
  if (take_any(text, at, ":")) {
    int whole = 0;
    if (!take_number(text, at, 2, whole)) return {};
    c.second = whole;
    if (take_any(text, at, ".,")) {
      double unit = 0.1;
      for (; at < text.size() && text[at] >= '0' && text[at] <= '9'; ++at, unit *= 0.1) {
        c.second += unit * (text[at] - '0');
        ++p.second_decimals;
      }
    }
  }
  while (take_any(text, at, " ")) {
  }
  if (at < text.size()) {
    if (take_any(text, at, "Zz")) {
      p.zone_offset_s = 0;
    } else if (text[at] == '+' || text[at] == '-') {
      const int sign = text[at++] == '-' ? -1 : 1;
      int hours = 0, minutes = 0;
      if (!take_number(text, at, 2, hours)) return {};
      take_any(text, at, ":");
      if (at < text.size() && !take_number(text, at, 2, minutes)) return {};
      if (hours > 15 || minutes > 59) return {};
      p.zone_offset_s = sign * (hours * 3600 + minutes * 60);
    }
    if (at != text.size()) return {};
  }
  return valid(c) ? std::optional(p) : std::nullopt;
}

}  // namespace polewright
