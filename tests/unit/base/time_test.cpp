#include "polewright/time.hpp"

#include <catch2/catch.hpp>

using namespace polewright;

TEST_CASE("Julian date of J2000.0 (definition: JD 2451545.0 is 2000-01-01 12:00)") {
  const UtcTime t = UtcTime::from_calendar({2000, 1, 1, 12, 0, 0.0});
  double high = 0, low = 0;
  t.julian_date(high, low);
  CHECK(high + low == 2451545.0);
  CHECK(UtcTime::from_julian_date(2451545.0, 0.0) == t);
  CHECK(t.unix_us() == 946728000LL * 1000000LL);
}

TEST_CASE("times survive the calendar and back, before 1970 too") {
  for (const CalendarTime c : {CalendarTime{1969, 12, 31, 23, 59, 59.5}, CalendarTime{2024, 2, 29, 0, 0, 0.001},
                               CalendarTime{2026, 11, 25, 19, 3, 7.25}}) {
    const CalendarTime back = UtcTime::from_calendar(c).calendar();
    CHECK(back.year == c.year);
    CHECK(back.month == c.month);
    CHECK(back.day == c.day);
    CHECK(back.hour == c.hour);
    CHECK(back.minute == c.minute);
    CHECK(back.second == Approx(c.second).margin(1e-6));
  }
  CHECK(UtcTime::from_calendar({2026, 11, 25, 19, 3, 7.25}).iso() == "2026-11-25T19:03:07.250Z");
  CHECK(UtcTime::from_calendar({2026, 11, 25, 23, 59, 59.9996}).iso() == "2026-11-26T00:00:00.000Z");
}

TEST_CASE("time texts of FITS, ISO and EXIF") {
  const auto zone = parse_time("2017-12-20T01:33:43-0700");
  REQUIRE(zone);
  CHECK(zone->zone_offset_s == -7 * 3600);
  CHECK(parse_time("2017-12-20T01:33:43Z")->zone_offset_s == 0);
  CHECK(parse_time("2026:08:12 22:01:07")->calendar.hour == 22);
  CHECK_FALSE(parse_time("2026:08:12 22:01:07")->zone_offset_s);
  const auto fraction = parse_time("2026-08-12T22:01:07.125 +05:30");
  REQUIRE(fraction);
  CHECK(fraction->calendar.second == Approx(7.125));
  CHECK(fraction->second_decimals == 3);
  CHECK(fraction->zone_offset_s == 19800);
  for (const char* bad : {"", "yesterday", "2026-13-01", "2026-02-30T00:00:00", "2026-01-01T25:00:00",
                          "0000:00:00 00:00:00", "2026-01-01T10:00:00 local", "2026-01-01T10:00:0x"})
    CHECK_FALSE(parse_time(bad));
}
