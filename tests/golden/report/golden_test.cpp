// The text people read, kept word for word. To accept a change on purpose: POLEWRIGHT_UPDATE_GOLDEN=1
// test_golden_report.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include "polewright/report.hpp"
#include "support/sample_report.hpp"

using namespace polewright;

namespace {

void check_golden(const std::string& name, const std::string& text) {
  const std::string path = POLEWRIGHT_SOURCE_DIR "/tests/golden/report/" + name;
  if (std::getenv("POLEWRIGHT_UPDATE_GOLDEN") != nullptr) std::ofstream(path) << text;
  std::ifstream in(path);
  const std::string kept((std::istreambuf_iterator<char>(in)), {});
  CHECK(text == kept);
}

}  // namespace

TEST_CASE("align text: solved, north") {
  check_golden("align_solved_north.txt", align_text(test::sample_report()));
}

TEST_CASE("align text: solved, south, good enough") {
  AlignReport r = test::sample_report();
  r.site->site.latitude = Angle::deg(-30.2);
  r.correction->right_hand = false;
  r.correction->clockwise_from_above = false;
  r.exposure->good_enough = true;
  r.exposure->planned_s = 60.0;
  r.exposure->planned_trail_px = 0.41;
  check_golden("align_good_south.txt", align_text(r));
}

TEST_CASE("align text: not observable") {
  AlignReport r = test::sample_report();
  r.outcome = AlignOutcome::axis_not_observable;
  r.message = "The camera did not turn between the frames, so they say nothing about the axis; switch tracking on.";
  r.correction.reset();
  r.star_target.reset();
  r.mount->rate_ratio = 0.0003;
  r.mount->rate_sigma = 0.0002;
  r.mount->rate_match = RateMatch::stopped;
  check_golden("align_not_observable.txt", align_text(r));
}
