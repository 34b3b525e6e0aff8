// Raw and JPEG of one exposure, through the whole command: counted once, the raw measured, both listed and moved.
#include <catch2/catch.hpp>
#include <fstream>
#include <random>

#include "polewright/night.hpp"
#include "session/night_twins.hpp"
#include "simulate/simulate.hpp"
#include "support/program.hpp"

using namespace polewright;
using namespace polewright::session;
namespace fs = std::filesystem;

namespace {

/// Forty stars over a flat sky; the same ones for the same seed.
Frame stars_of(unsigned seed, bool colour) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(1500.0, 15.0);
  std::uniform_int_distribution<int> x(10, 489), y(10, 389);
  std::uniform_real_distribution<double> peak(3000.0, 30000.0);
  Frame f;
  f.width = 500;
  f.height = 400;
  if (colour) f.mosaic.colour = {FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue};
  std::vector<double> light(500 * 400);
  for (double& v : light) v = noise(random);
  for (int star = 0; star < 40; ++star) {
    const double p = peak(random);
    for (int u = x(random), v = y(random), dy = -6; dy <= 6; ++dy)
      for (int dx = -6; dx <= 6; ++dx)
        light[static_cast<std::size_t>((v + dy) * 500 + u + dx)] += p * std::exp(-(dx * dx + dy * dy) / 4.0);
  }
  for (const double v : light) f.pixels.push_back(static_cast<std::uint16_t>(std::clamp(v, 0.0, 60000.0)));
  return f;
}

void raw(const fs::path& file, unsigned seed, int second) {
  fs::create_directories(file.parent_path());
  Frame f = stars_of(seed, true);
  f.metadata.mid_time = {UtcTime::from_calendar({2026, 10, 9, 20, 15, static_cast<double>(second)}), "test"};
  f.metadata.exposure_s = {20.0, "test"};
  f.metadata.camera = "Lanternworks Field 24";
  REQUIRE_FALSE(simulate::write_dng(file, f));
}

void jpeg(const fs::path& file, unsigned seed) {
  fs::create_directories(file.parent_path());
  Frame f = stars_of(seed, false);
  for (std::uint16_t& v : f.pixels) v = static_cast<std::uint16_t>(v / 2);  // bright stars stay below the JPEG's white
  fs::path small = file;
  REQUIRE_FALSE(simulate::write_picture(small.replace_extension(".jpg"), f));
  if (small != file) fs::rename(small, file);
}

CheckReport run(const fs::path& folder) {
  CheckOptions options;
  options.recursive = true;
  options.use_cache = false;
  options.session.threads = 2;
  options.session.catalogue = "/no/star/table";  // nothing to identify here
  return check({folder}, options).value();
}

void counted_once(const fs::path& folder, std::size_t exposures) {
  const CheckReport report = run(folder);
  CHECK(report.frames.size() == exposures);
  for (const CheckFrame& f : report.frames) {
    INFO(f.file);
    CHECK(rank_of(f.file) == 0);
    REQUIRE(f.companions.size() == 1);
    CHECK(rank_of(f.companions[0]) == 3);
    CHECK(lower(fs::path(f.companions[0]).stem().string()) == lower(fs::path(f.file).stem().string()));
  }
}

NightFile measured(const fs::path& file, unsigned seed, std::optional<int> second) {
  NightFile out;
  out.input.file = file;
  Frame f = stars_of(seed, false);
  if (second)
    f.metadata.mid_time = {UtcTime::from_calendar({2026, 10, 9, 20, 15, static_cast<double>(*second)}), "test"};
  out.record = record_of(f).value();
  return out;
}

}  // namespace

TEST_CASE("raw and JPEG in one folder, in folders of their own, on two cards: each exposure once, by its raw") {
  const fs::path home = test::scratch_folder("raw_jpeg");
  for (unsigned i = 1; i <= 3; ++i) {
    const std::string n = std::to_string(i);
    const int second = static_cast<int>(i) * 15;
    raw(home / "one" / ("f_" + n + ".dng"), i, second);
    jpeg(home / "one" / ("f_" + n + ".jpg"), i);
    raw(home / "capitals" / ("IMG_" + n + ".DNG"), i, second);
    jpeg(home / "capitals" / ("IMG_" + n + ".JPG"), i);
    raw(home / "sorted/RAW" / ("f_" + n + ".dng"), i, second);
    jpeg(home / "sorted/JPG" / ("f_" + n + ".jpg"), i);
    raw(home / "cards/CARD1/100" / ("IMG_" + n + ".DNG"), i, second);
    jpeg(home / "cards/CARD2/100" / ("IMG_" + n + ".JPG"), i);
  }
  for (const char* folder : {"one", "capitals", "sorted", "cards"}) {
    INFO(folder);
    counted_once(home / folder, 3);
  }
  const fs::path away = home / "away";
  const auto moved =
      sort_files(run(home / "cards"), {Verdict::sharp, Verdict::soft, Verdict::trailed}, away, FileAction::move);
  CHECK(moved.files.size() == 6);
  for (const char* name : {"IMG_1.DNG", "IMG_1.JPG", "IMG_2.DNG", "IMG_2.JPG", "IMG_3.DNG", "IMG_3.JPG"})
    CHECK(fs::exists(away / name));
  const auto list = test::run_program(
      {"check", (home / "one").string(), "--list", "sharp", "--list", "soft", "--list", "trailed", "--no-cache"});
  CHECK(std::count(list.out.begin(), list.out.end(), '\n') == 6);
}

TEST_CASE("names alone make no twins: clocks or stars must agree") {
  const auto left = [](std::vector<NightFile> files) {
    join_twins(files, {});
    return files;
  };
  // Clocks decide where both have one; a JPEG's counts whole seconds.
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/f.jpg", 2, 11)}).size() == 1);
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/f.jpg", 2, 40)}).size() == 2);
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/g.jpg", 2, 10)}).size() == 2);
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/f.cr2", 2, 10)}).size() == 2);  // two of one form are two
  // Without a clock the stars do.
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/f.jpg", 1, {})}).size() == 1);
  CHECK(left({measured("a/f.cr2", 1, 10), measured("b/f.jpg", 2, {})}).size() == 2);
  // The JPEG's folder may come first.
  const auto swapped = left({measured("JPG/f.jpg", 1, {}), measured("RAW/f.cr2", 1, 10)});
  REQUIRE(swapped.size() == 1);
  CHECK(swapped[0].input.file == "RAW/f.cr2");
  CHECK(swapped[0].input.companions == std::vector<fs::path>{"JPG/f.jpg"});
}

TEST_CASE("a raw that cannot be read is stood in for by its JPEG, and that is said") {
  const fs::path home = test::scratch_folder("stand_in");
  jpeg(home / "f_1.jpg", 1);
  raw(home / "f_1.dng", 1, 10);
  fs::resize_file(home / "f_1.dng", 3000);
  const CheckReport report = run(home);
  REQUIRE(report.frames.size() == 1);
  CHECK(report.frames[0].readable);
  CHECK(report.frames[0].file == (home / "f_1.jpg").string());
  CHECK(report.frames[0].companions == std::vector<std::string>{(home / "f_1.dng").string()});
  REQUIRE_FALSE(report.warnings.empty());
  bool said = false;
  for (const std::string& w : report.warnings)
    said = said || w.find("Measured in its place: f_1.jpg") != std::string::npos;
  CHECK(said);
}
