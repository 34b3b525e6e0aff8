// What a tired person gets wrong, and the one clear sentence and exit status they get for it.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "scratch_frames.hpp"
#include "support/json_schema.hpp"
#include "support/program.hpp"

using namespace polewright;
using namespace polewright::test;
namespace fs = std::filesystem;

namespace {

/// Nothing analysed: status 1, nothing on standard output, one line on standard error that contains `words`.
void check_refused(const Run& run, const std::vector<std::string>& words) {
  INFO(run.err);
  CHECK(run.status == 1);
  CHECK(run.out.empty());
  CHECK(std::count(run.err.begin(), run.err.end(), '\n') == 1);
  for (const std::string& w : words) CHECK(run.err.find(w) != std::string::npos);
}

/// Analysed but not answerable: status 2, valid JSON with this outcome, and a message that contains `words`.
nlohmann::json check_unanswered(std::vector<std::string> arguments, const std::string& outcome,
                                const std::vector<std::string>& words) {
  const Run text = run_program(arguments);
  arguments.insert(arguments.end(), {"--json", "-"});
  const Run run = run_program(arguments);
  INFO(run.err);
  CHECK(run.status == 2);
  CHECK(text.status == 2);
  CHECK(schema_violation(POLEWRIGHT_SOURCE_DIR "/src/report/schema/align-1.json", run.out) == "");
  const auto json = nlohmann::json::parse(run.out, nullptr, false);
  REQUIRE(json.is_object());
  CHECK(json["outcome"] == outcome);
  CHECK(json["axis"].is_null());
  const std::string message = json["message"];
  INFO(message);
  for (const std::string& w : words) CHECK(message.find(w) != std::string::npos);
  CHECK(text.out.find(message) != std::string::npos);
  return json;
}

const std::string& folder() {
  static const std::string path = scratch_folder("wrong");
  return path;
}

const std::string& good(int which) {
  static const std::string paths[2] = {write_plain(folder(), "good0.fits", 0), write_plain(folder(), "good1.fits", 1)};
  return paths[which];
}

}  // namespace

TEST_CASE("a good pair is solved: status 0, valid JSON, text and JSON agree") {
  const Run run = run_program({"align", good(0), good(1), "--exposure", "60", "--json", folder() + "/result.json"});
  INFO(run.err);
  CHECK(run.status == 0);
  std::ifstream in(folder() + "/result.json");
  const std::string text((std::istreambuf_iterator<char>(in)), {});
  CHECK(schema_violation(POLEWRIGHT_SOURCE_DIR "/src/report/schema/align-1.json", text) == "");
  const auto json = nlohmann::json::parse(text);
  CHECK(json["outcome"] == "solved");
  CHECK(json["correction"]["altitude"]["turn"] == "raise");
  CHECK(json["correction"]["azimuth"]["turn"] == "west");
  CHECK(json["correction"]["azimuth"]["hand"] == "left");
  CHECK(run.out.find("raise the axis") != std::string::npos);
  CHECK(run.out.find("to the left, towards west") != std::string::npos);
}

TEST_CASE("missing file") {
  check_refused(run_program({"align", folder() + "/none.fits", good(1)}), {"none.fits"});
}

TEST_CASE("folder instead of a file") {
  check_refused(run_program({"align", folder(), good(1)}), {folder()});
}

TEST_CASE("truncated FITS") {
  const std::string path = folder() + "/short.fits";
  fs::copy_file(good(0), path, fs::copy_options::overwrite_existing);
  fs::resize_file(path, fs::file_size(path) / 2);
  check_refused(run_program({"align", path, good(1)}), {"short.fits"});
}

TEST_CASE("text renamed .CR2") {
  const std::string path = folder() + "/notes.CR2";
  std::ofstream(path) << "buy batteries\n";
  check_refused(run_program({"align", path, good(1)}), {"notes.CR2"});
}

TEST_CASE("empty file") {
  const std::string path = folder() + "/empty.tif";
  std::ofstream{path};
  check_refused(run_program({"align", path, good(1)}), {"empty.tif"});
}

TEST_CASE("one bad file among three does not stop the others") {
  const Run run = run_program({"align", good(0), folder() + "/none.fits", good(1)});
  CHECK(run.status == 0);
  CHECK(run.out.find("left out: ") != std::string::npos);
}

TEST_CASE("one frame only, and none") {
  check_refused(run_program({"align", good(0)}), {"only frame", "second frame"});
  check_refused(run_program({"align"}), {"no frame"});
}

TEST_CASE("the same frame twice, by name and by content") {
  check_refused(run_program({"align", good(0), good(0)}), {"good0.fits"});
  const std::string copy = folder() + "/copy.fits";
  fs::copy_file(good(0), copy, fs::copy_options::overwrite_existing);
  check_refused(run_program({"align", good(0), copy}), {"copy.fits", "good0.fits"});
}

TEST_CASE("frames of different sizes and of different cameras") {
  const std::string small = write_frame(folder(), "small.fits", 1, [](Frame& f) {
    f.height -= 100;
    f.pixels.resize(static_cast<std::size_t>(f.width) * static_cast<std::size_t>(f.height));
  });
  check_refused(run_program({"align", good(0), small}), {"small.fits", "1500 × 900", "1500 × 1000"});
  const std::string other =
      write_frame(folder(), "other.fits", 1, [](Frame& f) { f.metadata.camera = "Another Camera"; });
  check_refused(run_program({"align", good(0), other}), {"other.fits", "Another Camera"});
}

TEST_CASE("no site: the size of the error is still answered, the direction is not, and the option is named") {
  std::string paths[2];
  for (int i = 0; i < 2; ++i)
    paths[i] =
        write_frame(folder(), "nosite" + std::to_string(i) + ".fits", i, [](Frame& f) { f.metadata.site.reset(); });
  const auto json = check_unanswered({"align", paths[0], paths[1]}, "axis_not_observable", {"--site", "from the pole"});
  // The scene's axis is 40′ low and 70′ of base off at latitude 46: 63′ in all; without air the pole is 1′ off.
  const std::string message = json["message"];
  CHECK(std::stod(message.substr(message.find("axis is ") + 8)) == Approx(63.0).margin(4.0));
  CHECK(json["rate"]["ratio"].get<double>() == Approx(1.0).margin(1e-3));
  CHECK_FALSE(json["drift"].is_null());
  CHECK(run_program({"align", paths[0], paths[1], "--site", "46,10,1500"}).status == 0);
}

TEST_CASE("no zone on the camera's clock: the same, and --utc-offset is named") {
  std::string paths[2];
  for (int i = 0; i < 2; ++i)
    paths[i] =
        write_frame(folder(), "nozone" + std::to_string(i) + ".dng", i, [](Frame& f) { f.metadata.site.reset(); });
  check_unanswered({"align", paths[0], paths[1], "--site", "46,10,1500"}, "axis_not_observable", {"--utc-offset"});
  const Run run = run_program({"align", paths[0], paths[1], "--site", "46,10,1500", "--utc-offset", "+00:00"});
  INFO(run.out << run.err);
  CHECK(run.status == 0);
}

TEST_CASE("daylight frames, black frames and a covered lens say so") {
  const auto flat = [](const char* name, std::uint16_t level) {
    std::string paths[2];
    for (int i = 0; i < 2; ++i)
      paths[i] = write_frame(folder(), name + std::to_string(i) + ".fits", i, [&](Frame& f) {
        std::uint32_t noise = 12345u + static_cast<std::uint32_t>(i);
        for (auto& p : f.pixels) {
          noise = noise * 1664525u + 1013904223u;
          p = static_cast<std::uint16_t>(level + (level > 100 && level < 16000 ? (noise >> 28) : 0));
        }
        f.pixels[7] = static_cast<std::uint16_t>(level + 1 + i);  // so that the two are not one frame
      });
    return std::vector<std::string>{"align", paths[0], paths[1]};
  };
  check_unanswered(flat("day", 16383), "too_few_stars", {"day0.fits"});
  check_unanswered(flat("black", 0), "too_few_stars", {"black0.fits"});
  check_unanswered(flat("covered", 512), "too_few_stars", {"covered0.fits"});
}

TEST_CASE("options that make no sense are refused by name") {
  check_refused(run_program({"align", good(0), good(1), "--site", "95,10"}), {"95"});
  check_refused(run_program({"align", good(0), good(1), "--site", "somewhere"}), {"somewhere"});
  check_refused(run_program({"align", good(0), good(1), "--utc-offset", "noon"}), {"noon", "±HH:MM"});
  CHECK(run_program({"align", good(0), good(1), "--pole", "magnetic"}).status == 1);
  CHECK(run_program({"align", good(0), good(1), "--tolerance", "-2"}).status == 1);
  CHECK(run_program({"align", good(0), good(1), "--nonsense"}).status == 1);
  CHECK(run_program({"dance"}).status == 1);
  CHECK(run_program({}).status == 1);
}

TEST_CASE("config files: used, overridden, and refused with the line") {
  const auto config = [](const std::string& text) {
    std::ofstream(folder() + "/c.toml") << text;
    return folder() + "/c.toml";
  };
  const Run used = run_program(
      {"align", good(0), good(1), "--config",
       config("[base]\nrim_radius_mm = 40\naltitude_degrees_per_screw_turn = 1.5\n[shoot]\nexposure_s = 120\n")});
  INFO(used.out << used.err);
  CHECK(used.status == 0);
  CHECK(used.out.find("mm along the rim") != std::string::npos);
  CHECK(used.out.find("turns of the altitude screw") != std::string::npos);
  CHECK(used.out.find("for 2 min") != std::string::npos);
  check_refused(run_program({"align", good(0), good(1), "--config", config("[base]\nrim_radius_mm = 'big'\n")}),
                {"rim_radius_mm"});
  check_refused(run_program({"align", good(0), good(1), "--config", config("[base]\nradius = 3\n")}), {"base.radius"});
  check_refused(run_program({"align", good(0), good(1), "--config", config("[base\n")}), {"line 1"});
  check_refused(run_program({"align", good(0), good(1), "--config", folder() + "/none.toml"}), {"none.toml"});
}

TEST_CASE("a result that cannot be written is an error, and nothing is left behind") {
  const Run run = run_program({"align", good(0), good(1), "--json", folder() + "/no/such/place.json"});
  CHECK(run.status == 1);
  CHECK(run.err.find("place.json") != std::string::npos);
  CHECK_FALSE(fs::exists(folder() + "/no"));
}

TEST_CASE("help has examples and the version is one line") {
  const Run help = run_program({"align", "--help"});
  CHECK(help.status == 0);
  CHECK(help.out.find("Examples:") != std::string::npos);
  const Run version = run_program({"--version"});
  CHECK(version.status == 0);
  CHECK(version.out.rfind("polewright ", 0) == 0);
}

TEST_CASE("inspect says what was read and measured, as text and as valid JSON") {
  const Run run = run_program({"inspect", good(0), "--json", "-"});
  CHECK(run.status == 0);
  CHECK(schema_violation(POLEWRIGHT_SOURCE_DIR "/src/report/schema/inspect-1.json", run.out) == "");
  const auto json = nlohmann::json::parse(run.out);
  CHECK(json["identification"] == "identified");
  CHECK(json["mosaic"] == "RGGB");
  CHECK(json["metadata"]["exposure_s"]["value"].get<double>() == Approx(30.0));
  CHECK(run_program({"inspect", good(0)}).out.find("Identity  identified") != std::string::npos);
}
