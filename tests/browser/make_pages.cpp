// Pages for the browser tests, from made-up results: FOLDER gets NAME.html and NAME.json for each.
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <random>

#include "polewright/page.hpp"
#include "report/jpeg.hpp"
#include "report/page_evidence.hpp"
#include "report/page_template.hpp"
#include "support/sample_report.hpp"

namespace {

using namespace polewright;
using nlohmann::ordered_json;

/// A dark field with a few stars, smeared along x by `trail_px`.
GreyPicture star_field(int width, int height, int stars, double trail_px, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(26.0, 7.0);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  GreyPicture p{width, height, {}};
  for (int i = 0; i < width * height; ++i)
    p.pixels.push_back(static_cast<std::uint8_t>(std::clamp(noise(random), 0.0, 255.0)));
  for (int s = 0; s < stars; ++s) {
    const double x0 = unit(random) * width, y0 = unit(random) * height, peak = 60.0 + 190.0 * unit(random);
    const int reach = 4 + static_cast<int>(trail_px);
    for (int y = std::max(0, static_cast<int>(y0) - 4); y < std::min(height, static_cast<int>(y0) + 5); ++y)
      for (int x = std::max(0, static_cast<int>(x0) - reach); x < std::min(width, static_cast<int>(x0) + reach + 1);
           ++x) {
        const double along = std::max(0.0, std::abs(x - x0) - trail_px / 2.0), across = y - y0;
        auto& v = p.pixels[static_cast<std::size_t>(y * width + x)];
        v = static_cast<std::uint8_t>(std::min(255.0, v + peak * std::exp(-(along * along + across * across) / 3.0)));
      }
  }
  return p;
}

/// Five crops side by side, as the session cuts them.
std::string crops(int side, double trail_px, unsigned seed) {
  return report::jpeg_of(star_field(5 * side, side, 30, trail_px, seed));
}

FrameView view() {
  FrameView v;
  v.file = "second.fits";
  v.width_px = 1500;
  v.height_px = 1000;
  v.preview = star_field(750, 500, 300, 0.0, 7);
  for (int i = 0; i < 300; ++i) {
    StarMark m;
    m.place = {std::fmod(i * 97.3, 1490.0), std::fmod(i * 61.7, 990.0)};
    m.kind = i % 7 == 0 ? MarkKind::flagged : i % 3 == 0 ? MarkKind::unidentified : MarkKind::identified;
    if (m.kind == MarkKind::flagged) m.why = "hot pixel";
    if (i < 12 && m.kind == MarkKind::identified) m.name = "Star " + std::to_string(i);
    m.v_magnitude = 2.0 + i / 40.0;
    v.marks.push_back(m);
  }
  for (int r = 0; r < 5; ++r)
    for (int c = 0; c < 8; ++c) v.motion.push_back({{93.0 + c * 187.0, 99.0 + r * 200.0}, {0.3, 0.01 * c}});
  return v;
}

AlignReport align_sample() {
  AlignReport r = test::sample_report();
  AlignEvidence e;
  e.frame = view();
  e.shifts = {{0.0, 0.0, 0.0, 0.0, 0.006, 0.01}, {180.0, 0.92, -0.41, 0.22, 0.006, 0.01}};
  for (int k = 0; k <= 60; ++k)
    e.fitted.push_back({3.0 * k, 0.92 * k / 60.0, -0.41 * k / 60.0, 0.22 * k / 60.0, 0.0, 0.0});
  e.tolerance_radius_arcmin = 12.2;
  r.evidence = e;
  return r;
}

AlignReport southern_sample() {
  AlignReport r = align_sample();
  r.site->site.latitude = Angle::deg(-30.74);
  r.mount->axis = enu_from_horizontal(Angle::deg(180.6), Angle::deg(31.1));
  r.correction->right_hand = false;
  r.correction->clockwise_from_above = false;
  return r;
}

/// Every text a file or header can put into a report, as nasty as a file system allows.
AlignReport hostile_sample() {
  const std::string nasty =
      "</script><img src=x onerror=\"document.title='hit'\">'\"&amp;\n\xe2\x80\xae\xe5\xa4\x9c<!--" +
      std::string(200, 'W') + "\xff.fits";
  AlignReport r = align_sample();
  r.message = nasty;
  r.site->source = nasty;
  for (FrameReport& f : r.frames) {
    f.file = nasty;
    f.time_source = nasty;
    f.flags = {nasty};
  }
  r.star_target->name = nasty;
  r.causes[0].evidence = nasty;
  r.warnings = {nasty, "@RESULT@ @EVIDENCE@ @PLAIN@"};
  r.evidence->frame->file = nasty;
  for (StarMark& m : r.evidence->frame->marks) m.name = m.why = nasty;
  return r;
}

AlignReport unsolved_sample() {
  AlignReport r;
  r.outcome = AlignOutcome::too_few_stars;
  r.message = "second.fits: only four stars were found; wait for the cloud to pass or expose longer.";
  r.frames = test::sample_report().frames;
  r.evidence = AlignEvidence{};
  return r;
}

InspectReport inspect_sample() {
  InspectReport r;
  r.frame = test::sample_report().frames.front();
  r.metadata.exposure_s = {30.0, "FITS EXPTIME"};
  r.metadata.mid_time = {*r.frame.mid_time, "FITS DATE-OBS"};
  r.metadata.site = {{Angle::deg(46.55), Angle::deg(7.98), 1650.0}, "FITS SITELAT"};
  r.metadata.camera = "Camera <b>bold</b> & \"Sons\"";
  r.metadata.object = "</script><script>document.title='hit'</script>";
  r.identification = "identified";
  r.optics = test::sample_report().optics;
  r.view = view();
  r.view->motion_sense_known = false;
  return r;
}

void write(const std::filesystem::path& folder, const std::string& name, const std::string& page,
           const std::string& json) {
  std::ofstream(folder / (name + ".html"), std::ios::binary) << page;
  std::ofstream(folder / (name + ".json"), std::ios::binary) << json;
}

/// A night as `check` tells it: steady drift, one gust, one slip, one cloud; `count` frames of three minutes.
ordered_json night(int count) {
  std::mt19937 random(11);
  std::normal_distribution<double> noise(0.0, 1.0);
  const UtcTime start = UtcTime::from_calendar({2026, 10, 10, 19, 40, 0.0});
  const int gust = count * 3 / 10, slip = count * 6 / 10, cloud = count * 8 / 10;
  ordered_json frames = ordered_json::array();
  int counts[4] = {0, 0, 0, 0};
  for (int i = 0; i < count; ++i) {
    const bool blown = i == gust, slid = i == slip, dim = i == cloud;
    const double trail = std::abs(0.5 + 0.12 * noise(random) + (blown ? 6.4 : slid ? 14.0 : 0.0));
    const int verdict = dim ? 3 : trail > 1.0 ? 2 : i % 13 == 5 ? 1 : 0;
    ++counts[verdict];
    const double dx = 0.42 * i + 0.05 * noise(random) + (i > slip ? 23.5 : 0.0),
                 dy = -0.18 * i + 0.05 * noise(random) - (i > slip ? 9.2 : 0.0);
    const std::string file =
        "/night/NGC\xe2\x80\x9c"
        "891/light <" +
        std::to_string(1000 + i) + ">.fits";
    frames.push_back({{"file", i == 3 ? "/night/two\nlines.fits" : file},
                      {"mid_time_utc", start.plus_seconds(185.0 * i).iso()},
                      {"exposure_s", 180.0},
                      {"verdict", verdict == 0   ? "sharp"
                                  : verdict == 1 ? "soft"
                                  : verdict == 2 ? "trailed"
                                                 : "unusable"},
                      {"cause", blown          ? ordered_json("gust or knock")
                                : slid         ? ordered_json("slip")
                                : dim          ? ordered_json("clouds")
                                : verdict == 1 ? ordered_json("defocus")
                                               : ordered_json(nullptr)},
                      {"trail_px", dim ? ordered_json(nullptr) : ordered_json(trail)},
                      {"trail_sigma_px", dim ? ordered_json(nullptr) : ordered_json(0.08)},
                      {"trail_angle_deg", dim ? ordered_json(nullptr) : ordered_json(-31.0 + 4.0 * noise(random))},
                      {"elongation", dim ? ordered_json(nullptr) : ordered_json(1.1 + trail / 10.0)},
                      {"fwhm_px", dim ? ordered_json(nullptr)
                                      : ordered_json(2.4 + 0.1 * noise(random) + (verdict == 1 ? 1.3 : 0.0))},
                      {"stars", dim ? 9 : static_cast<int>(640 + 12 * noise(random))},
                      {"sky_adu", 1180.0 + 3.0 * noise(random) + (dim ? 700.0 : 0.0)},
                      {"shift_px", dim ? ordered_json(nullptr) : ordered_json::array({dx, dy})},
                      {"roll_arcmin", dim ? ordered_json(nullptr) : ordered_json(0.06 * i + 0.02 * noise(random))},
                      {"flags", dim ? ordered_json::array({"clouded"}) : ordered_json::array()}});
  }
  return {{"schema", "polewright/check/1"},
          {"program", {{"name", "polewright"}, {"version", program_version()}}},
          {"tolerance_px", 1.0},
          {"frames", frames},
          {"sequence",
           {{"drift_px_per_min", 0.148},
            {"drift", {{"x_px_per_min", 0.1362}, {"y_px_per_min", -0.0584}, {"roll_arcmin_per_min", 0.01946}}},
            {"axis", nullptr},
            {"rate", {{"ratio", 1.0003}, {"ratio_sigma", 0.0001}, {"matches", "sidereal"}}},
            {"periodic_error", {{"amplitude_arcsec", 21.4}, {"period_s", 600.0}, {"significance", 9.1}}},
            {"steps",
             {{{"after_file", frames[static_cast<std::size_t>(slip)]["file"]},
               {"shift_px", {23.5, -9.2}},
               {"kind", "slip"}}}},
            {"causes",
             {{{"cause", "slip"}, {"share", 0.62}, {"evidence", "the pointing jumped 25 px and stayed there"}},
              {{"cause", "gust or knock"}, {"share", 0.3}, {"evidence", "one frame smeared, pointing returned"}}}}}},
          {"summary",
           {{"frames", count},
            {"sharp", counts[0]},
            {"soft", counts[1]},
            {"trailed", counts[2]},
            {"unusable", counts[3]}}}};
}

void write_night(const std::filesystem::path& folder, const std::string& name, int count) {
  const ordered_json result = night(count);
  CheckEvidence evidence;
  evidence.crop_px = 96;
  for (int i = 0; i < count; ++i) {
    const auto& trail = result["frames"][static_cast<std::size_t>(i)]["trail_px"];
    evidence.crops.push_back(crops(96, trail.is_null() ? 0.0 : trail.get<double>(), static_cast<unsigned>(i)));
  }
  const std::string json = result.dump(2) + "\n";
  write(folder, name, report::fill_page({"The night in words.\n", json, report::check_evidence_json(evidence).dump()}),
        json);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: browser_pages FOLDER\n";
    return 1;
  }
  const std::filesystem::path folder = argv[1];
  std::filesystem::create_directories(folder);
  const auto align_as = [&](const std::string& name, const AlignReport& r) {
    write(folder, name, align_page(r), align_json(r));
  };
  align_as("align", align_sample());
  align_as("south", southern_sample());
  align_as("hostile", hostile_sample());
  align_as("unsolved", unsolved_sample());
  write(folder, "inspect", inspect_page(inspect_sample()), inspect_json(inspect_sample()));
  write_night(folder, "night", 40);
  write_night(folder, "long_night", 500);
}
