// Every neighbouring pair of the real tracked sequence gets a statement: an outcome and a sentence, never a crash. The
// frames are a small field (0.93° × 0.72°) from a telescope on an equatorial mount; they lie beside the checkout.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <iostream>

#include "polewright/session.hpp"
#include "support/check_values.hpp"

using namespace polewright;

TEST_CASE("tracked sequence: a statement about each pair") {
  const auto folder = test::real_frames("tracked_sequence");
  if (!folder) {
    WARN("skipped: real frames are not beside this checkout");
    return;
  }
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::directory_iterator(*folder)) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  REQUIRE(files.size() >= 2);
  for (std::size_t i = 0; i + 1 < files.size(); ++i) {
    const auto report = align({files[i], files[i + 1]}, SessionOptions{});
    REQUIRE(report);
    CHECK_FALSE(report->message.empty());
    std::cout << files[i].filename().string() << " + " << files[i + 1].filename().string() << ": "
              << to_text(report->outcome) << ": " << report->message << "\n";
    if (report->outcome == AlignOutcome::solved) {
      // TEL-TRAC = 'Sidereal', yet the stars of the first frame are drawn out by 3.4 px in 60 s, plain to see: 17.6″ a
      // minute or 2 % of the sidereal rate, which bounds what the drive does between frames.
      CHECK(*report->mount->rate_ratio == Approx(1.0).margin(0.02));
    }
    // The header's target (RA 31.312099, DEC 46.769087) must be inside every identified frame: half of 0.93° along
    // right ascension is 0.68° of it at this declination.
    for (const FrameReport& frame : report->frames)
      if (frame.centre_ra_deg) {
        CHECK(*frame.centre_ra_deg == Approx(31.312099).margin(0.7));
        CHECK(*frame.centre_dec_deg == Approx(46.769087).margin(0.5));
      }
  }
}
