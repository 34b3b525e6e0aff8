// The command as a user runs it, on small rendered frames: lists, exit statuses, damaged files, a full disk, being
// killed.
#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <random>

#include "polewright/catalogue.hpp"
#include "simulate/simulate.hpp"
#include "support/json_schema.hpp"
#include "support/program.hpp"

using namespace polewright;
namespace fs = std::filesystem;

namespace {

const std::string kProgram = POLEWRIGHT_BUILD_DIR "/polewright";

/// Ten frames of 40 s at 50 mm, the fifth smeared by a gust.
const fs::path& night() {
  static const fs::path folder = [] {
    const fs::path out = test::scratch_folder("frames");
    simulate::Scene scene;
    scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
    scene.frames = 10;
    scene.exposure_s = 40.0;
    scene.interval_s = 45.0;
    scene.lens.width_px = 800;
    scene.lens.height_px = 600;
    scene.pointing = simulate::Horizontal{Angle::deg(140), Angle::deg(50), Angle::deg(20)};
    scene.gusts = {{scene.start_s(4) + 5.0, 0.5, 12.0, {Angle::arcsec(150), Angle::deg(20), Angle()}}};
    const auto catalogue = Catalogue::open();
    REQUIRE(catalogue.ok());
    const auto stars = simulate::stars_from_catalogue(*catalogue, scene, 10.0);
    simulate::RenderOptions options;
    options.detector.hot_pixels_per_megapixel = 10.0;
    for (int i = 0; i < scene.frames; ++i) {
      const auto rendered = simulate::render_frame(scene, stars, i, options);
      REQUIRE_FALSE(simulate::write_fits(out / ("n_" + std::to_string(i + 1) + ".fits"), rendered.frame));
    }
    return out;
  }();
  return folder;
}

struct Outcome {
  int status = -1;
  std::string out, err;
};

/// Runs a shell line with an own cache and home.
Outcome shell(const std::string& line, const fs::path& home) {
  fs::create_directories(home);
  const std::string whole = "cd '" + home.string() + "' && HOME='" + home.string() + "' XDG_CACHE_HOME='" +
                            (home / "cache").string() +
                            "'; export HOME XDG_CACHE_HOME; unset XDG_CONFIG_HOME; exec >out 2>err; " + line;
  const int status = std::system(("/bin/sh -c \"" + whole + "\"").c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), test::read_file(home / "out"),
          test::read_file(home / "err")};
}

/// The report without what may differ from run to run: nothing, so far; kept in one place should that change.
nlohmann::json answer(const std::string& json) {
  return nlohmann::json::parse(json);
}

}  // namespace

TEST_CASE("check: verdicts, lists, exit statuses") {
  const fs::path home = test::scratch_folder("home");
  const std::string check = kProgram + " check " + night().string();
  const Outcome json = shell(check + " --json -", home);
  REQUIRE(json.status == 0);
  CHECK(test::schema_violation(POLEWRIGHT_SOURCE_DIR "/src/report/schema/check-1.json", json.out) == "");
  const auto report = answer(json.out);
  CHECK(report["summary"]["frames"] == 10);
  CHECK(report["summary"]["trailed"] == 1);
  CHECK(report["frames"][4]["verdict"] == "trailed");
  CHECK(report["frames"][4]["cause"] == "gust or knock");

  const std::string smeared = (night() / "n_5.fits").string();
  CHECK(shell(check + " --list trailed", home).out == smeared + "\n");
  CHECK(shell(check + " --list trailed --null", home).out == smeared + std::string(1, '\0'));
  CHECK(shell(check + " --fail-on-trailed", home).status == 3);
  CHECK(shell(kProgram + " check " + (night() / "n_[12].fits").string() + " --fail-on-trailed", home).status == 0);
  CHECK(shell("ls " + night().string() + "/*.fits | " + kProgram + " check - --csv - | wc -l", home).out.find("11") !=
        std::string::npos);
  CHECK(shell(kProgram + " check /nowhere/at/all", home).status == 1);
  CHECK(shell(check + " --move-to away bad-word", home).status == 1);
  CHECK_FALSE(fs::exists(home / "away"));
}

TEST_CASE("check: rehearsal, move, refusal to overwrite") {
  const fs::path home = test::scratch_folder("moving"), copy = home / "n";
  fs::copy(night(), copy);
  const std::string check = kProgram + " check " + copy.string();
  CHECK(shell(check + " --move-to away trailed --dry-run", home).status == 0);
  CHECK(fs::exists(copy / "n_5.fits"));
  CHECK(shell(check + " --copy-to away trailed", home).status == 0);
  CHECK(test::read_file(home / "away/n_5.fits") == test::read_file(copy / "n_5.fits"));
  CHECK(shell(check + " --move-to away trailed", home).status == 1);
  CHECK(fs::exists(copy / "n_5.fits"));
}

TEST_CASE("check: unreadable and truncated frames are told, the rest goes on") {
  const fs::path home = test::scratch_folder("broken"), copy = home / "n";
  fs::copy(night(), copy);
  fs::resize_file(copy / "n_2.fits", 50000);
  std::ofstream(copy / "n_3.fits", std::ios::binary) << "SIMPLE  =                    T and then nonsense";
  const Outcome run = shell(kProgram + " check " + copy.string() + " --json -", home);
  CHECK(run.status == 0);
  const auto report = answer(run.out);
  CHECK(report["summary"]["frames"] == 10);
  CHECK(report["summary"]["unusable"] == 2);
  CHECK(report["warnings"].size() >= 2);
  int unreadable = 0;
  for (const auto& f : report["frames"]) unreadable += f["sequence"].is_null() ? 1 : 0;
  CHECK(unreadable == 2);
}

TEST_CASE("check: a full disk leaves no partial report") {
  // A file size limit makes write() fail as a full disk does (POSIX setrlimit, RLIMIT_FSIZE, with SIGXFSZ ignored).
  const fs::path home = test::scratch_folder("full");
  const Outcome warm = shell(kProgram + " check " + night().string(), home);
  REQUIRE(warm.status == 0);
  const Outcome run = shell(
      "trap '' XFSZ; ulimit -f 8; " + kProgram + " check " + night().string() + " --no-cache --list soft --json r.json",
      home);
  CHECK(run.status == 1);
  for (const auto& entry : fs::directory_iterator(home))
    CHECK(entry.path().filename().string().find("r.json") == std::string::npos);
}

TEST_CASE("check: Ctrl-C ends in order, says how to go on, and the next run gives the same answer") {
  const fs::path home = test::scratch_folder("interrupted");
  const Outcome reference = shell(kProgram + " check " + night().string() + " --no-cache --json -", home);
  REQUIRE(reference.status == 0);
  // Too early a signal meets no handler yet, too late a one no program: the first wait that falls between counts.
  Outcome cut;
  for (const char* wait_s : {"0.1", "0.2", "0.3", "0.5", "0.8", "1.2"}) {
    fs::remove_all(home / "cache");
    cut = shell(kProgram + " check " + night().string() + " --jobs 1 & child=\\$!; sleep " + wait_s +
                    "; kill -INT \\$child; wait \\$child",
                home);
    if (cut.status != 0) break;
  }
  CHECK(cut.status == 1);
  CHECK(cut.err.find("Run the same command again") != std::string::npos);
  CHECK(cut.out.empty());
  const Outcome resumed = shell(kProgram + " check " + night().string() + " --json -", home);
  REQUIRE(resumed.status == 0);
  CHECK(answer(resumed.out) == answer(reference.out));
}

TEST_CASE("check: names on standard input, the same frame named twice counted once") {
  const fs::path home = test::scratch_folder("names");
  const std::string null_list = "printf '%s\\000' " + (night() / "n_1.fits").string() + " " +
                                (night() / "n_2.fits").string() + " | " + kProgram + " check - --csv - | wc -l";
  CHECK(std::stoi(shell(null_list, home).out) == 3);
  const Outcome again = shell(kProgram + " check " + (night() / "n_1.fits").string() + " " +
                                  (night() / "n_1.fits").string() + " " + night().string() + " --json -",
                              home);
  CHECK(answer(again.out)["summary"]["frames"] == 10);
}

TEST_CASE("check: moving onto another disk, never over a file that is there") {
  const fs::path home = test::scratch_folder("disks"), copy = home / "n";
  fs::copy(night(), copy);
  std::error_code none;
  // /dev/shm is a disk of its own wherever it exists.
  if (!fs::exists("/dev/shm", none)) return;
  const fs::path away = fs::path("/dev/shm") / ("polewright_test_" + std::to_string(::getpid()));
  fs::create_directories(away);
  const std::string bytes = test::read_file(copy / "n_5.fits");
  std::ofstream(away / "n_5.fits") << "mine";
  const std::string move = kProgram + " check " + copy.string() + " --move-to " + away.string() + " trailed";
  CHECK(shell(move, home).status == 1);
  CHECK(test::read_file(away / "n_5.fits") == "mine");
  CHECK(fs::exists(copy / "n_5.fits"));
  fs::remove(away / "n_5.fits");
  CHECK(shell(move + " --dry-run", home).status == 0);
  CHECK(fs::is_empty(away));
  CHECK(shell(move, home).status == 0);
  CHECK(test::read_file(away / "n_5.fits") == bytes);
  CHECK_FALSE(fs::exists(copy / "n_5.fits"));
  fs::remove_all(away);
}

TEST_CASE("check: killed ten times, it resumes and gives the same answer") {
  const fs::path home = test::scratch_folder("killed");
  const Outcome reference = shell(kProgram + " check " + night().string() + " --no-cache --json -", home);
  REQUIRE(reference.status == 0);
  std::mt19937 engine(5);
  int killed = 0;
  const std::string cache = "XDG_CACHE_HOME=" + (home / "kcache").string(), own_home = "HOME=" + home.string();
  for (int i = 0; i < 10; ++i) {
    const pid_t child = ::fork();
    if (child == 0) {
      const int null = ::open("/dev/null", O_RDWR);
      ::dup2(null, 1);
      ::dup2(null, 2);
      ::execl("/usr/bin/env", "env", cache.c_str(), own_home.c_str(), kProgram.c_str(), "check", night().c_str(),
              "--jobs", "2", nullptr);
      ::_exit(127);
    }
    ::usleep(5000 + static_cast<useconds_t>(engine() % 250000));
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    killed += WIFSIGNALED(status) ? 1 : 0;
  }
  CHECK(killed >= 3);  // a fast machine finishes some runs first
  fs::remove_all(home / "cache");
  fs::rename(home / "kcache", home / "cache");
  const Outcome resumed = shell(kProgram + " check " + night().string() + " --json -", home);
  REQUIRE(resumed.status == 0);
  CHECK(resumed.err.find("damaged") == std::string::npos);
  CHECK(answer(resumed.out) == answer(reference.out));
}
