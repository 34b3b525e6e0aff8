#include <catch2/catch.hpp>

#include "frame/site_text.hpp"
#include "polewright/frame.hpp"

using namespace polewright;

TEST_CASE("angles as people write them: d + m/60 + s/3600") {
  CHECK(parse_angle("46.55")->value == 46.55);
  CHECK(parse_angle(" +46.55 ")->value == 46.55);
  CHECK(parse_angle("-0:30:00")->value == -0.5);
  CHECK(parse_angle("-22:57:08:99")->value == Approx(-(22 + 57 / 60.0 + 8.99 / 3600)).epsilon(1e-14));
  CHECK(parse_angle("46°33'00\" N")->value == Approx(46.55));
  CHECK(parse_angle("46°33′00″ S")->value == Approx(-46.55));
  CHECK(parse_angle("W 110 52.8")->value == Approx(-110.88));
  CHECK(parse_angle("7d58m48s")->value == Approx(7.98));
  CHECK(parse_angle("2h05m14.9s")->sexagesimal);
  CHECK(parse_angle("1.5E2")->value == 150.0);
  for (const char* bad : {"", "north", "12:60:00", "12:30:75", "1 2 3 4 5", "--3", "4 N 5 E", "nan", "inf"})
    CHECK_FALSE(parse_angle(bad));
}

TEST_CASE("sites on the command line") {
  const auto plain = parse_site("46.55,7.98,1650");
  REQUIRE(plain.ok());
  CHECK(plain->latitude.deg() == Approx(46.55));
  CHECK(plain->longitude.deg() == Approx(7.98));
  CHECK(plain->height_m == 1650.0);
  const auto letters = parse_site("46:33:00 N, 7:58:48 E");
  REQUIRE(letters.ok());
  CHECK(letters->latitude.deg() == Approx(46.55));
  CHECK(letters->longitude.deg() == Approx(7.98));
  CHECK(parse_site("33.9 S, 70.8 W, 2200 m")->longitude.deg() == Approx(-70.8));
  CHECK(parse_site("-33.9,289.2")->longitude.deg() == Approx(-70.8));
  CHECK(parse_site("-33.9,180")->longitude.deg() == Approx(-180.0));
  for (const char* bad :
       {"", "46.55", "46.55,7.98,1650,1", "91,0", "0,361", "46 N,7 N", "7 E,46 N", "a,b", "46,7,high", "46,7,20000"}) {
    const auto wrong = parse_site(bad);
    REQUIRE_FALSE(wrong.ok());
    CHECK(wrong.error().code == ErrorCode::option_invalid);
    CHECK_FALSE(wrong.error().found.empty());
  }
}
