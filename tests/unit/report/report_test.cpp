#include "polewright/report.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "report/words.hpp"
#include "support/json_schema.hpp"
#include "support/program.hpp"
#include "support/sample_report.hpp"

using namespace polewright;
using nlohmann::json;

namespace {

const std::string kAlignSchema = POLEWRIGHT_SOURCE_DIR "/src/report/schema/align-1.json";
const std::string kInspectSchema = POLEWRIGHT_SOURCE_DIR "/src/report/schema/inspect-1.json";

InspectReport sample_inspect() {
  InspectReport r;
  r.frame = test::sample_report().frames.front();
  r.metadata.exposure_s = {30.0, "FITS EXPTIME"};
  r.metadata.mid_time = {*r.frame.mid_time, "FITS DATE-OBS"};
  r.metadata.site = {{Angle::deg(46.55), Angle::deg(7.98), 1650.0}, "FITS SITELAT"};
  r.identification = "identified";
  r.optics = test::sample_report().optics;
  return r;
}

}  // namespace

TEST_CASE("align JSON satisfies its schema, full and bare") {
  CHECK(test::schema_violation(kAlignSchema, align_json(test::sample_report())) == "");
  AlignReport bare;
  bare.message = "nothing";
  bare.frames.resize(1);
  CHECK(test::schema_violation(kAlignSchema, align_json(bare)) == "");
}

TEST_CASE("the schema refuses what it should") {
  json j = json::parse(align_json(test::sample_report()));
  j["outcome"] = "perfect";
  CHECK(test::schema_violation(kAlignSchema, j.dump()) != "");
  j = json::parse(align_json(test::sample_report()));
  j["axis"]["altitude_error_arcmin"] = "18";
  CHECK(test::schema_violation(kAlignSchema, j.dump()) != "");
  j = json::parse(align_json(test::sample_report()));
  j.erase("rate");
  CHECK(test::schema_violation(kAlignSchema, j.dump()) != "");
}

TEST_CASE("align JSON says what the report says") {
  const json j = json::parse(align_json(test::sample_report()));
  CHECK(j["schema"] == "polewright/align/1");
  CHECK(j["axis"]["altitude_error_arcmin"].get<double>() == Approx(18.2));
  CHECK(j["axis"]["azimuth_error_arcmin"].get<double>() == Approx(-36.3));
  CHECK(j["axis"]["covariance_on_sky_arcmin2"][1][1].get<double>() == Approx(0.04));
  CHECK(j["correction"]["altitude"]["turn"] == "lower");
  CHECK(j["correction"]["azimuth"]["base_arcmin"].get<double>() == Approx(36.3));
  CHECK(j["correction"]["star_shift"]["to_px"] == json::array({721.7, 440.2}));
  CHECK(j["frames"][1]["mid_time_utc"] == "2026-08-12T21:07:15.000Z");
  CHECK(j["exposure"]["good_enough"] == false);
}

TEST_CASE("an axis that was not solved is null, and so is what follows from it") {
  AlignReport r = test::sample_report();
  r.outcome = AlignOutcome::axis_not_observable;
  r.correction.reset();
  r.star_target.reset();
  const json j = json::parse(align_json(r));
  CHECK(j["axis"].is_null());
  CHECK(j["correction"].is_null());
  CHECK(j["rate"]["ratio"].get<double>() == Approx(1.00021));
}

TEST_CASE("inspect JSON satisfies its schema, full and bare") {
  CHECK(test::schema_violation(kInspectSchema, inspect_json(sample_inspect())) == "");
  CHECK(test::schema_violation(kInspectSchema, inspect_json({})) == "");
  CHECK(json::parse(inspect_json(sample_inspect()))["metadata"]["exposure_s"]["source"] == "FITS EXPTIME");
}

TEST_CASE("file names with quotes, line breaks and broken UTF-8 stay one valid JSON string and one line of text") {
  AlignReport r = test::sample_report();
  r.frames[0].file = "a\"b\n\x1b[31mc\xff.fits";
  const json j = json::parse(align_json(r));
  CHECK(j["frames"][0]["file"].get<std::string>().substr(0, 4) == "a\"b\n");
  const std::string text = align_text(r);
  CHECK(text.find('\x1b') == std::string::npos);
  CHECK(text.find("a\"b??[31mc") != std::string::npos);
}

TEST_CASE("the instruction comes first and names both moves") {
  const std::string text = align_text(test::sample_report());
  const auto raise = text.find("lower the axis 0.30°"), turn = text.find("turn the base 0.60°"),
             enough = text.find("Not good enough");
  REQUIRE(raise != std::string::npos);
  REQUIRE(turn != std::string::npos);
  REQUIRE(enough != std::string::npos);
  CHECK(raise < turn);
  CHECK(turn < enough);
  CHECK(text.find("to the right, towards east\n   as you stand behind the mount facing the pole (north)") !=
        std::string::npos);
}

TEST_CASE("what a longer series shows is said: frames set aside, adjustments, a sagging head") {
  AlignReport r = test::sample_report();
  r.mount->frames.resize(2);
  r.mount->frames[1].set_aside = true;
  r.mount->frames[1].reason = "it was knocked";
  AxisChange change;
  change.before_frame = 1;
  change.altitude_change = Angle::arcmin(-12.0);
  change.azimuth_change = Angle::arcmin(7.0);
  change.altitude_sigma = change.azimuth_sigma = Angle::arcmin(0.5);
  r.mount->adjustments = {change};
  r.mount->head_sag = HeadSag{Angle::arcmin(3.0), Angle::arcmin(1.0), 0.8};
  r.exposure->longest_ground_s = 3.4;
  const std::string text = align_text(r);
  CHECK(text.find("Set aside frame 2: it was knocked") != std::string::npos);
  CHECK(text.find("before frame 2: axis lowered by 12.00 ± 0.50′, base turned east by 7.00 ± 0.50′") !=
        std::string::npos);
  CHECK(text.find("disagree by 3.0 ± 1.0′; as sag of the ball head 0.8″ a minute") != std::string::npos);
  CHECK(text.find("foreground stays within tolerance for 3.4 s") != std::string::npos);
  const json j = json::parse(align_json(r));
  CHECK(j["adjustments"][0]["altitude_change_arcmin"].get<double>() == Approx(-12.0));
  CHECK(j["head_sag"]["sag_arcsec_per_min"].get<double>() == Approx(0.8));
  CHECK(j["exposure"]["longest_ground_s"].get<double>() == Approx(3.4));
  CHECK(test::schema_violation(kAlignSchema, align_json(r)) == "");
}

TEST_CASE("angles and times in words") {
  using namespace report;
  CHECK(arcmin_text(Angle::arcmin(-0.44)) == "0.4′");
  CHECK(arcmin_text(Angle::arcmin(25.1)) == "25′");
  CHECK(arcmin_text(Angle::arcmin(84.0)) == "1°24′");
  CHECK(degree_minute_text(Angle::deg(-0.25)) == "−0°15.0′");
  CHECK(degree_minute_text(Angle::arcmin(59.97)) == "1°00.0′");
  CHECK(duration_text(8.44) == "8.4 s");
  CHECK(duration_text(100) == "100 s");
  CHECK(duration_text(130) == "2 min 10 s");
  CHECK(duration_text(7300) == "2 h 1 min");
  CHECK(plus_minus(1.000213, 0.00008) == "1.000213 ± 0.000080");
}

TEST_CASE("a file is written whole or not at all") {
  const std::string folder = test::scratch_folder("write");
  CHECK_FALSE(write_whole(folder + "/a.json", "one"));
  CHECK_FALSE(write_whole(folder + "/a.json", "two"));
  CHECK(test::read_file(folder + "/a.json") == "two");
  const Status failed = write_whole(folder + "/none/b.json", "three");
  REQUIRE(failed);
  CHECK(failed->code == ErrorCode::write_failed);
  CHECK(std::distance(std::filesystem::directory_iterator(folder), {}) == 1);
}
