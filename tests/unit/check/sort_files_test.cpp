#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>

#include "polewright/night.hpp"
#include "support/program.hpp"

using namespace polewright;
namespace fs = std::filesystem;

namespace {

void write(const fs::path& file, const std::string& text) {
  fs::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
}
CheckReport night(const fs::path& folder) {
  CheckReport r;
  const auto add = [&](const char* name, Verdict verdict) {
    CheckFrame f;
    f.file = (folder / name).string();
    f.finding.verdict = verdict;
    write(f.file, name);
    r.frames.push_back(f);
  };
  add("good.fits", Verdict::sharp);
  add("bad.fits", Verdict::trailed);
  add("sub/bad.fits", Verdict::trailed);
  add("cloud.fits", Verdict::unusable);
  r.frames[1].companions = {(folder / "bad.jpg").string()};
  write(folder / "bad.jpg", "bad.jpg");
  return r;
}

}  // namespace

TEST_CASE("files move by verdict, companions with them, and nothing is overwritten") {
  const fs::path folder = test::scratch_folder("sort"), to = folder / "rejected";
  const CheckReport r = night(folder);

  SECTION("rehearsal touches nothing") {
    const auto moved =
        sort_files(r, {Verdict::trailed}, to, FileAction::move, {.rehearse = true, .progress = {}, .stop = {}}).files;
    CHECK(moved.size() == 3);
    CHECK_FALSE(fs::exists(to));
    CHECK(fs::exists(folder / "bad.fits"));
  }
  SECTION("move") {
    const auto moved = sort_files(r, {Verdict::trailed}, to, FileAction::move).files;
    REQUIRE(moved.size() == 3);
    CHECK(moved[0].problem.empty());
    CHECK(test::read_file(to / "bad.fits") == "bad.fits");
    CHECK(test::read_file(to / "bad.jpg") == "bad.jpg");
    CHECK_FALSE(fs::exists(folder / "bad.fits"));
    // Two frames of one name: the second stays where it is.
    CHECK(moved[2].problem == "exists already");
    CHECK(test::read_file(folder / "sub/bad.fits") == "sub/bad.fits");
    CHECK(fs::exists(folder / "good.fits"));
    CHECK(fs::exists(folder / "cloud.fits"));
  }
  SECTION("copy leaves the original, and what stands there already") {
    write(to / "cloud.fits", "mine");
    const auto copied = sort_files(r, {Verdict::trailed, Verdict::unusable}, to, FileAction::copy).files;
    CHECK(test::read_file(to / "bad.fits") == "bad.fits");
    CHECK(test::read_file(folder / "bad.fits") == "bad.fits");
    CHECK(copied.back().problem == "exists already");
    CHECK(test::read_file(to / "cloud.fits") == "mine");
    // No temporary file stays behind: the three that could be copied or stood there.
    CHECK(std::distance(fs::directory_iterator(to), fs::directory_iterator()) == 3);
  }
}

TEST_CASE("a raw and its JPEG stay together when one of them is in the way") {
  const fs::path folder = test::scratch_folder("together"), to = folder / "rejected";
  const CheckReport r = night(folder);
  write(to / "bad.jpg", "mine");
  const auto moved = sort_files(r, {Verdict::trailed}, to, FileAction::move).files;
  REQUIRE(moved.size() == 3);
  CHECK(moved[0].problem == "exists already");
  CHECK(moved[1].problem == "stays with bad.jpg, which exists there already");
  CHECK(fs::exists(folder / "bad.fits"));
  CHECK(test::read_file(to / "bad.jpg") == "mine");
  CHECK(moved[2].problem.empty());  // the other exposure goes
}

TEST_CASE("a folder that cannot be had is told once; a stop leaves the rest for the next run") {
  const fs::path folder = test::scratch_folder("refused");
  const CheckReport r = night(folder);
  write(folder / "file", "no folder");
  for (const bool rehearse : {false, true}) {
    const FilesSorted refused =
        sort_files(r, {Verdict::trailed}, folder / "file", FileAction::move, {rehearse, {}, {}});
    CHECK(refused.files.empty());
    REQUIRE(refused.ended);
    CHECK(refused.ended->code == ErrorCode::write_failed);
  }
  CHECK(sort_files(r, {Verdict::trailed}, "/proc/no/such", FileAction::copy).ended);

  int asked = 0;
  SortOptions options;
  options.stop = [&] { return ++asked > 1; };
  const FilesSorted stopped = sort_files(r, {Verdict::trailed}, folder / "to", FileAction::move, options);
  REQUIRE(stopped.ended);
  CHECK(stopped.ended->code == ErrorCode::cancelled);
  CHECK(stopped.files.size() == 2);
  CHECK(fs::exists(folder / "sub/bad.fits"));
}

TEST_CASE("a frame that lies where it should go is left alone") {
  const fs::path folder = test::scratch_folder("inside");
  const CheckReport r = night(folder);
  for (const FileAction action : {FileAction::move, FileAction::copy}) {
    CHECK(sort_files(r, {Verdict::sharp, Verdict::unusable}, folder, action).files.empty());
    CHECK(sort_files(r, {Verdict::sharp}, folder / "sub/..", action).files.empty());
  }
  CHECK(test::read_file(folder / "good.fits") == "good.fits");
}
