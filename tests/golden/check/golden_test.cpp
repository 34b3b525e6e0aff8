// What `check` writes, kept word for word, and its JSON against its schema. To accept a change on purpose:
// POLEWRIGHT_UPDATE_GOLDEN=1 test_golden_check.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>

#include "polewright/check.hpp"
#include "support/json_schema.hpp"
#include "support/sample_report.hpp"

using namespace polewright;

namespace {

void check_golden(const std::string& name, const std::string& text) {
  const std::string path = POLEWRIGHT_SOURCE_DIR "/tests/golden/check/" + name;
  if (std::getenv("POLEWRIGHT_UPDATE_GOLDEN") != nullptr) std::ofstream(path, std::ios::binary) << text;
  std::ifstream in(path, std::ios::binary);
  const std::string kept((std::istreambuf_iterator<char>(in)), {});
  CHECK(text == kept);
}

CheckFrame frame(const std::string& name, int minute, Verdict verdict, double trail) {
  CheckFrame f;
  f.file = "night/" + name;
  f.mid_time = f.clock_time = UtcTime::from_calendar({2026, 8, 12, 21, minute, 30.0});
  f.exposure_s = 60.0;
  f.width_px = 6000;
  f.height_px = 4000;
  f.finding.verdict = verdict;
  f.finding.trail_px = trail;
  f.finding.trail_sigma_px = 0.08;
  f.finding.trail_angle_deg = -12.5;
  f.trail_arcsec = trail * 5.96;
  f.trail_sigma_arcsec = 0.08 * 5.96;
  f.elongation = 1.2;
  f.fwhm_px = 2.4;
  f.stars = 412;
  f.stars_expected = 420.0;
  f.sky_adu = 812.5;
  f.dimming_mag = 0.02;
  f.place = FieldPlace{1.5, -2.5, 1e-4, 0.02, 1e-6};
  return f;
}

/// Every field filled, a hostile name, a file that could not be read.
CheckReport sample_night() {
  CheckReport r;
  r.frames = {frame("a_1.cr2", 0, Verdict::sharp, 0.4), frame("a_2.cr2", 1, Verdict::trailed, 2.3),
              frame("a_3, \"odd\"\x1b[2J.cr2", 2, Verdict::soft, 0.5)};
  r.frames[0].companions = {"night/a_1.jpg"};
  r.frames[1].finding.cause = "axis misalignment";
  r.frames[1].finding.why = "axis misalignment makes 2.1 px of the 2.3 px trail";
  r.frames[2].finding.cause = "defocus";
  r.frames[2].finding.why = "stars 3.9 px wide, 1.5 px more than at their best";
  CheckFrame unread;
  unread.file = "night/a_4.cr2";
  unread.readable = false;
  unread.flags = {"unreadable"};
  unread.finding.why = "night/a_4.cr2: ends after 512 bytes";
  r.frames.push_back(unread);
  CheckSequence s;
  s.camera = "Lanternworks Field 24";
  s.exposure_s = 60.0;
  s.centre_ra_deg = 283.6;
  s.centre_dec_deg = 33.0;
  s.frames = {0, 1, 2};
  const AlignReport align = test::sample_report();
  s.optics = align.optics;
  s.site = align.site;
  s.mount = align.mount;
  s.correction = align.correction;
  s.frames_identified = 3;
  NightDiagnosis& d = s.diagnosis;
  SteadyDrift drift;
  drift.x_px_per_min = 1.8;
  drift.y_px_per_min = -0.9;
  drift.roll_arcmin_per_min = 0.1;
  drift.centre_px_per_min = 2.0;
  drift.centre_sigma_px_per_min = 0.02;
  drift.worst_px_per_min = 2.2;
  drift.turn_ratio = 0.009;
  drift.turn_ratio_sigma = 0.0001;
  d.drift = drift;
  PeriodicTerm p;
  p.period_s = 480.0;
  p.period_sigma_s = 3.0;
  p.amplitude_px = 0.8;
  p.amplitude_sigma_px = 0.05;
  p.amplitude_arcsec = 4.8;
  p.amplitude_sigma_arcsec = 0.3;
  p.significance = 16.0;
  p.false_alarm = 1e-9;
  p.cycles = 5.2;
  d.periodic = {p, p};
  d.periodic[1].period_s = 240.0;
  d.steps = {{1, 4.0, -3.0, 0.2, 0.1, StepKind::slip}};
  d.settling = Settling{3.0, 1.0, 0.1, 120.0};
  d.wander_px = 0.1;
  d.causes = {{"axis misalignment", 0.8, 2.1, 1, 120.0,
               "the field drifts 2.20 px a minute as it does with the axis 31′ ± 0.4′ from the pole"},
              {"defocus", 0.2, 1.5, 1, 0.0,
               "star width grows from 2.4 px by up to 1.5 px while the light stays, with no direction to it"}};
  d.longest_sharp_s = 26.0;
  d.saved_by_longest = 1.0;
  d.saved_by_half = 0.0;
  d.notes = {"a note"};
  r.sequences = {s};
  r.warnings = {"not read: night/a_4.cr2: ends after 512 bytes"};
  return r;
}

const std::string kSchema = POLEWRIGHT_SOURCE_DIR "/src/report/schema/check-1.json";

}  // namespace

TEST_CASE("check text") {
  check_golden("night.txt", check_text(sample_night()));
}

TEST_CASE("check CSV") {
  check_golden("night.csv", check_csv(sample_night()));
}

TEST_CASE("check text: the table is cut and says so") {
  CheckTextOptions options;
  options.most_frames = 2;
  const std::string text = check_text(sample_night(), options);
  CHECK(text.find("and 2 more") != std::string::npos);
}

TEST_CASE("check text: frames of the same name in two folders, and two evenings, are told apart") {
  CheckReport r = sample_night();
  r.frames[0].file = "night/one/a_1.cr2";
  r.frames[1].file = "night/other/a_1.cr2";
  r.sequences.push_back(r.sequences[0]);
  r.sequences[0].frames = {0};
  r.sequences[1].frames = {1, 2};
  r.frames[2].clock_time = UtcTime::from_calendar({2026, 8, 13, 0, 5, 30.0});
  r.sequences[1].diagnosis.steps.clear();
  r.sequences[0].diagnosis.steps.clear();
  const std::string text = check_text(r);
  CHECK(text.find(" one/a_1.cr2") != std::string::npos);
  CHECK(text.find(" other/a_1.cr2") != std::string::npos);
  CHECK(text.find("Sequence 1: 1 frame of 60 s, 2026-08-12 21:00 to 21:00") != std::string::npos);
  CHECK(text.find("Sequence 2: 2 frames of 60 s, 2026-08-12 21:01 to 2026-08-13 00:05") != std::string::npos);
}

TEST_CASE("check JSON satisfies its schema, full and empty") {
  CHECK(test::schema_violation(kSchema, check_json(sample_night())) == "");
  CHECK(test::schema_violation(kSchema, check_json(CheckReport{})) == "");
  CheckReport bare = sample_night();
  bare.sequences[0] = CheckSequence{};
  bare.sequences[0].frames = {0, 1, 2};
  CHECK(test::schema_violation(kSchema, check_json(bare)) == "");
}

TEST_CASE("check JSON counts, and says null for what is unknown") {
  const auto json = nlohmann::json::parse(check_json(sample_night()));
  CHECK(json["summary"]["frames"] == 4);
  CHECK(json["summary"]["trailed"] == 1);
  CHECK(json["summary"]["unusable"] == 1);
  CHECK(json["frames"][3]["trail_px"].is_null());
  CHECK(json["frames"][3]["sequence"].is_null());
  CHECK(json["sequence"]["steps"][0]["after_file"] == "night/a_2.cr2");
  CHECK(json["sequence"]["periodic_error"]["period_s"] == 480.0);
}

TEST_CASE("no control character of a file's name reaches the terminal") {
  const std::string text = check_text(sample_night());
  CHECK(text.find('\x1b') == std::string::npos);
}
