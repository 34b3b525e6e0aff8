// Metadata of FITS headers: keywords of the FITS standard 4.0 (sections 8 and 9) and conventions in practice.
#include "frame/fits_metadata.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>

using namespace polewright;

namespace {

FitsHeader header(std::initializer_list<std::pair<const char*, const char*>> cards) {
  FitsHeader h;
  for (const auto& [keyword, value] : cards) h.add(fmt::format("{:<8}= {} / comment", keyword, value));
  return h;
}

FrameMetadata read(std::initializer_list<std::pair<const char*, const char*>> cards, const ReadOptions& options = {}) {
  return metadata_from_fits(header(cards), 1000, 800, options);
}

bool warns_of(const FrameMetadata& m, const std::string& word) {
  for (const auto& w : m.warnings)
    if (w.find(word) != std::string::npos) return true;
  return false;
}

}  // namespace

TEST_CASE("cards: quotes, doubled quotes, slashes in texts, D exponents, first card wins") {
  FitsHeader h;
  h.add("OBJECT  = 'Barnard''s / star'  / a comment");
  h.add("BIG     = 1.5D3 / comment");
  h.add("BIG     = 7");
  h.add("EMPTY   = '        '");
  h.add("COMMENT = is no value");
  h.add("NODATA");
  CHECK(*h.text("OBJECT") == "Barnard's / star");
  CHECK(*h.number("BIG") == 1500.0);
  CHECK(h.text("EMPTY") == nullptr);
  CHECK(h.text("ABSENT") == nullptr);
  CHECK_FALSE(h.number("OBJECT"));
}

TEST_CASE("the middle of the exposure from each stamp") {
  const auto mid = [](std::initializer_list<std::pair<const char*, const char*>> cards) {
    const auto m = read(cards);
    return m.mid_time ? m.mid_time->value.iso() : std::string("none");
  };
  const std::string expected = "2026-08-12T22:01:30.000Z";
  CHECK(mid({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-BEG", "'2026-08-12T22:01:00'"}, {"XPOSURE", "60."}}) == expected);
  CHECK(mid({{"DATE-AVG", "'2026-08-12T22:01:30'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-END", "'2026-08-12T22:02:00'"}, {"EXPOSURE", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'2026-08-12T22:01:00Z'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'2026-08-12T15:01:00-0700'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'2026-08-13T03:31:00+05:30'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'2026-08-12'"}, {"UT-OBS", "'22:01:00'"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'2026-08-12'"}, {"TIME-OBS", "'22:01:00.0'"}, {"EXPTIME", "60"}}) == expected);
  // MJD 61264 = JD 2461264.5 = 2026-08-12 0h (JD 2451545.0 = 2000-01-01 12h, 9719.5 days earlier); .91736111 d = 22:01.
  CHECK(mid({{"MJD-OBS", "61264.9173611111"}, {"EXPTIME", "60"}}) == expected);
  CHECK(mid({{"DATE-OBS", "'12/08/98'"}, {"UT", "'22:01:00'"}, {"EXPTIME", "60"}}) == "1998-08-12T22:01:30.000Z");
  CHECK(mid({{"DATE-OBS", "'2026-08-12'"}, {"EXPTIME", "60"}}) == "none");
  CHECK(mid({{"DATE-OBS", "'soon'"}}) == "none");
}

TEST_CASE(
    "TIMESYS is taken to UTC (TAI − UTC = 37 s since 2017, IERS Bulletin C; TT = TAI + 32.184 s; GPS = TAI − 19 s)") {
  const auto mid = [](const char* system) {
    return read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "0"}, {"TIMESYS", system}}).mid_time->value.iso();
  };
  CHECK(mid("'UTC'") == "2026-08-12T22:01:00.000Z");
  CHECK(mid("'TAI'") == "2026-08-12T22:00:23.000Z");
  CHECK(mid("'TT'") == "2026-08-12T21:59:50.816Z");
  CHECK(mid("'GPS'") == "2026-08-12T22:00:42.000Z");
  const auto local = read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}, {"TIMESYS", "'LOCAL'"}});
  CHECK_FALSE(local.mid_time);
  CHECK(local.mid_local_time->value.second == 30.0);
  ReadOptions options;
  options.utc_offset_s = 7200;
  CHECK(read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}, {"TIMESYS", "'LOCAL'"}}, options)
            .mid_time->value.iso() == "2026-08-12T20:01:30.000Z");
}

TEST_CASE("DATE-OBS in local time beside UT-OBS: the one that says UT is used, and the conflict is told") {
  const auto m = read({{"DATE-OBS", "'2026-08-12T15:01:00'"}, {"UT-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}});
  CHECK(m.mid_time->value.iso() == "2026-08-12T22:01:30.000Z");
  CHECK(m.mid_time->source == "FITS UT-OBS");
  CHECK(warns_of(m, "7 h 00 min"));
  const auto agreeing = read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"MJD-OBS", "61264.917"}, {"EXPTIME", "60"}});
  CHECK(agreeing.warnings.empty());
  const auto apart = read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"MJD-OBS", "61264.9"}, {"EXPTIME", "60"}});
  CHECK(apart.warnings.empty());  // one decimal of a day cannot contradict
  CHECK(warns_of(read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"MJD-OBS", "61264.50000"}, {"EXPTIME", "60"}}),
                 "MJD-OBS"));
}

TEST_CASE("the --utc-offset option does not move FITS times, which are UTC by the standard") {
  ReadOptions options;
  options.utc_offset_s = 3600;
  CHECK(read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}}, options).mid_time->value.iso() ==
        "2026-08-12T22:01:30.000Z");
}

TEST_CASE(
    "the stamp's resolution becomes the uncertainty of intervals: step/√6 for the difference of two even spreads") {
  CHECK(read({{"DATE-OBS", "'2026-08-12T22:01:00'"}, {"EXPTIME", "60"}}).mid_time_sigma_s ==
        Approx(0.408).margin(0.001));
  CHECK(read({{"DATE-OBS", "'2026-08-12T22:01:00.2'"}, {"EXPTIME", "60"}}).mid_time_sigma_s ==
        Approx(0.0408).margin(0.0001));
  CHECK(read({{"DATE-OBS", "'2026-08-12T22:01:00.212'"}, {"EXPTIME", "60"}}).mid_time_sigma_s == Approx(0.01));
  CHECK(read({{"MJD-OBS", "61264.917"}, {"EXPTIME", "60"}}).mid_time_sigma_s == Approx(86.4 / std::sqrt(6.0)));
}

TEST_CASE("sites in every writing") {
  const auto site = [](std::initializer_list<std::pair<const char*, const char*>> cards) { return read(cards).site; };
  const auto decimal = site({{"SITELAT", "46.55"}, {"SITELONG", "7.98"}, {"SITEELEV", "1650."}});
  REQUIRE(decimal);
  CHECK(decimal->value.latitude.deg() == Approx(46.55));
  CHECK(decimal->value.longitude.deg() == Approx(7.98));
  CHECK(decimal->value.height_m == 1650.0);
  CHECK(decimal->source == "FITS SITELAT, SITELONG, SITEELEV");
  const auto odd = site({{"LAT-OBS", "'-22:57:08:99'"}, {"LONG-OBS", "'-68 10 47.5'"}, {"ALT-OBS", "2400"}});
  REQUIRE(odd);
  CHECK(odd->value.latitude.deg() == Approx(-(22 + 57 / 60.0 + 8.99 / 3600)).epsilon(1e-12));
  CHECK(odd->value.longitude.deg() == Approx(-(68 + 10 / 60.0 + 47.5 / 3600)).epsilon(1e-12));
  CHECK(site({{"SITELAT", "4.655E+01"}, {"SITELONG", "3.52E+02"}})->value.longitude.deg() == Approx(-8.0));
  CHECK_FALSE(site({{"SITELAT", "0."}, {"SITELONG", "0."}}));
  CHECK_FALSE(site({{"SITELAT", "95."}, {"SITELONG", "10."}}));
  CHECK_FALSE(site({{"SITELAT", "45."}}));
}

TEST_CASE("geocentric sites: a point of the WGS 84 ellipsoid, computed back from its definition") {
  // X = (N + h) cosφ cosλ, Y = (N + h) cosφ sinλ, Z = (N(1 − e²) + h) sinφ (NIMA TR8350.2).
  const double phi = 46.55 * std::numbers::pi / 180, lambda = -110.88 * std::numbers::pi / 180, h = 1650.0;
  const double f = 1 / 298.257223563, e2 = f * (2 - f);
  const double n = 6378137.0 / std::sqrt(1 - e2 * std::sin(phi) * std::sin(phi));
  const std::string x = fmt::format("{:.6f}", (n + h) * std::cos(phi) * std::cos(lambda));
  const std::string y = fmt::format("{:.6f}", (n + h) * std::cos(phi) * std::sin(lambda));
  const std::string z = fmt::format("{:.6f}", (n * (1 - e2) + h) * std::sin(phi));
  const auto site = read({{"OBSGEO-X", x.c_str()}, {"OBSGEO-Y", y.c_str()}, {"OBSGEO-Z", z.c_str()}}).site;
  REQUIRE(site);
  // A micrometre in the header is 1e-11 degrees; the iteration ends within a millimetre.
  CHECK(site->value.latitude.deg() == Approx(46.55).margin(1e-8));
  CHECK(site->value.longitude.deg() == Approx(-110.88).margin(1e-8));
  CHECK(site->value.height_m == Approx(1650.0).margin(1e-3));
}

TEST_CASE("longitudes counted west-positive are turned where the header gives them away") {
  // Local sidereal time at longitude 110.88° W, 2017-12-20 01:33:43 UT: GMST by the IAU 1982 expression at
  // JD 2458107.565081 is 280.46061837° + 360.98564736629° × 6562.565081 = 111.67° (mod 360), less 110.88 = 0.79° =
  // 0h 3.2m.
  const auto by_time = read({{"DATE-OBS", "'2017-12-20T01:33:43'"},
                             {"EXPTIME", "0"},
                             {"LST", "'00:03:10'"},
                             {"LATITUDE", "31.68"},
                             {"LONGITUD", "110.88"}});
  REQUIRE(by_time.site);
  CHECK(by_time.site->value.longitude.deg() == Approx(-110.88));
  CHECK(warns_of(by_time, "west-positive"));
  CHECK(by_time.site->source.find("turned") != std::string::npos);

  const auto east = read({{"DATE-OBS", "'2017-12-20T01:33:43'"},
                          {"EXPTIME", "0"},
                          {"LST", "'00:03:10'"},
                          {"LATITUDE", "31.68"},
                          {"LONGITUD", "-110.88"}});
  CHECK(east.site->value.longitude.deg() == Approx(-110.88));
  CHECK(east.warnings.empty());

  const auto by_zone = read(
      {{"DATE-OBS", "'2017-12-19T18:33:43-0700'"}, {"EXPTIME", "0"}, {"LATITUDE", "31.68"}, {"LONGITUD", "110.88"}});
  CHECK(by_zone.site->value.longitude.deg() == Approx(-110.88));

  const auto by_hour_angle = read({{"DATE-OBS", "'2017-12-20T01:33:43'"},
                                   {"EXPTIME", "0"},
                                   {"HA", "329.48"},
                                   {"RA", "31.31"},
                                   {"DEC", "46.8"},
                                   {"LATITUDE", "31.68"},
                                   {"LONGITUD", "110.88"}});
  CHECK(by_hour_angle.site->value.longitude.deg() == Approx(-110.88));

  const auto unknown =
      read({{"DATE-OBS", "'2017-12-20T01:33:43'"}, {"EXPTIME", "0"}, {"LATITUDE", "31.68"}, {"LONGITUD", "110.88"}});
  CHECK(unknown.site->value.longitude.deg() == Approx(110.88));
}

TEST_CASE("pointing: degrees, sexagesimal hours, and the centre of a WCS") {
  const auto degrees = read({{"RA", "31.312099"}, {"DEC", "46.769087"}});
  REQUIRE(degrees.pointing);
  CHECK(right_ascension_of(degrees.pointing->centre).deg() == Approx(31.312099));
  const auto hours = read({{"OBJCTRA", "'02 05 14.9'"}, {"OBJCTDEC", "'-46 46 08'"}});
  CHECK(right_ascension_of(hours.pointing->centre).deg() == Approx(15 * (2 + 5 / 60.0 + 14.9 / 3600)));
  CHECK(declination_of(hours.pointing->centre).deg() == Approx(-(46 + 46 / 60.0 + 8 / 3600.0)));
  // Reference pixel at the frame's centre ((1000 + 1)/2, (800 + 1)/2): its value is the centre itself.
  const auto wcs = read({{"CTYPE1", "'RA---TAN'"},
                         {"CTYPE2", "'DEC--TAN'"},
                         {"CRPIX1", "500.5"},
                         {"CRPIX2", "400.5"},
                         {"CRVAL1", "120."},
                         {"CRVAL2", "-30."},
                         {"CD1_1", "-0.002"},
                         {"CD1_2", "0."},
                         {"CD2_1", "0."},
                         {"CD2_2", "0.002"}});
  CHECK(right_ascension_of(wcs.pointing->centre).deg() == Approx(120.0));
  CHECK(declination_of(wcs.pointing->centre).deg() == Approx(-30.0));
  CHECK(wcs.scale_arcsec_per_px->value == Approx(7.2));
  // 100 px north of the reference pixel: tan(offset) = 0.2° in radians, so the offset is 0.2° to 1e-6 of it.
  const auto north = read({{"CTYPE1", "'RA---TAN'"},
                           {"CTYPE2", "'DEC--TAN'"},
                           {"CRPIX1", "500.5"},
                           {"CRPIX2", "300.5"},
                           {"CRVAL1", "120."},
                           {"CRVAL2", "-30."},
                           {"CDELT1", "-0.002"},
                           {"CDELT2", "0.002"}});
  CHECK(declination_of(north.pointing->centre).deg() == Approx(-29.8).margin(1e-5));
  CHECK_FALSE(read({{"RA", "'none'"}, {"DEC", "10"}}).pointing);
}

TEST_CASE("optics: focal length, pitch and binning") {
  const auto plain = read({{"FOCALLEN", "135."}, {"XPIXSZ", "3.76"}});
  CHECK(plain.focal_length_mm->value == 135.0);
  CHECK(plain.pixel_pitch_um->value == 3.76);
  CHECK(plain.sensor_width_mm->value == Approx(3.76));
  CHECK(plain.warnings.empty());
  const auto binned = read({{"XPIXSZ", "7.52"}, {"XBINNING", "2"}});
  CHECK(binned.pixel_pitch_um->value == 7.52);
  CHECK(warns_of(binned, "2×2"));
  const auto sensor = read({{"PIXSIZE", "3.76"}, {"XBINNING", "2"}});
  CHECK(sensor.pixel_pitch_um->value == Approx(7.52));
  // 206264.806 × 7.52 µm / 135 mm = 11.4897″: the stated scale shows that 3.76 µm is the size before binning.
  const auto shown = read({{"XPIXSZ", "3.76"}, {"XBINNING", "2"}, {"FOCALLEN", "135"}, {"PIXSCALE", "11.49"}});
  CHECK(shown.pixel_pitch_um->value == Approx(7.52));
}

TEST_CASE("the rest: names, temperatures with a kelvin trap, air, disagreeing exposures") {
  const auto m = read({{"INSTRUME", "'Camera 1'"},
                       {"OBJECT", "'M 31'"},
                       {"CCD-TEMP", "-10.5"},
                       {"TELTEMP", "287.0"},
                       {"PRESSURE", "850."},
                       {"EXPTIME", "30."},
                       {"EXPOSURE", "31."}});
  CHECK(m.camera == "Camera 1");
  CHECK(m.object == "M 31");
  CHECK(m.sensor_temperature_c->value == -10.5);
  CHECK(m.air_temperature_c->value == Approx(13.85));
  CHECK(m.air_pressure_hpa->value == 850.0);
  CHECK(m.exposure_s->value == 30.0);
  CHECK(warns_of(m, "EXPOSURE"));
}
