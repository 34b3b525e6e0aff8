#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <fstream>

#include "session/night_inputs.hpp"
#include "support/program.hpp"

using namespace polewright;
using namespace polewright::session;
namespace fs = std::filesystem;

namespace {

/// A file with the first bytes of a FITS (Standard 4.0, 4.4.1: "SIMPLE  =") or of a JPEG (ITU-T T.81 B.1.1.3: SOI
/// marker).
void make(const fs::path& file) {
  fs::create_directories(file.parent_path());
  const std::string ext = file.extension();
  std::ofstream out(file, std::ios::binary);
  if (ext == ".jpg" || ext == ".JPG")
    out << "\xff\xd8\xff\xe0 not looked at any further";
  else if (ext == ".fits")
    out << "SIMPLE  =                    T" << std::string(2850, ' ');
  else
    out << "notes";
}

std::vector<std::string> names(const NightInputs& inputs) {
  std::vector<std::string> out;
  for (const NightInput& i : inputs.exposures) out.push_back(i.file.filename());
  return out;
}

}  // namespace

TEST_CASE("names in the order a person counts") {
  CHECK(natural_less("frame_9.fits", "frame_10.fits"));
  CHECK_FALSE(natural_less("frame_10.fits", "frame_9.fits"));
  CHECK(natural_less("a1b2", "a1b10"));
  CHECK(natural_less("a", "a1"));
  CHECK_FALSE(natural_less("same", "same"));
  // A strict order also between names that count the same number.
  CHECK(natural_less("img01", "img1") != natural_less("img1", "img01"));
}

TEST_CASE("folders, patterns, companions, other files") {
  const fs::path night = test::scratch_folder("night");
  for (const char* name :
       {"f_2.fits", "f_10.fits", "f_1.fits", "f_1.jpg", "notes.txt", ".hidden.fits", "deeper/g_1.fits"})
    make(night / name);

  const auto flat = collect_inputs({night}, false);
  REQUIRE(flat.ok());
  CHECK(names(*flat) == std::vector<std::string>{"f_1.fits", "f_2.fits", "f_10.fits"});
  REQUIRE(flat->exposures[0].companions.size() == 1);
  CHECK(flat->exposures[0].companions[0].filename() == "f_1.jpg");
  CHECK(flat->other_files == 1);

  const auto deep = collect_inputs({night}, true);
  REQUIRE(deep.ok());
  CHECK(deep->exposures.size() == 4);

  const auto pattern = collect_inputs({night / "f_*.fits"}, false);
  REQUIRE(pattern.ok());
  CHECK(pattern->exposures.size() == 3);

  const auto twice = collect_inputs({night, night / "f_2.fits", night / "deeper" / ".." / "f_2.fits"}, false);
  REQUIRE(twice.ok());
  CHECK(twice->exposures.size() == 3);
}

TEST_CASE("nothing there is an error that says what to try") {
  const fs::path empty = test::scratch_folder("empty");
  const auto none = collect_inputs({empty}, false);
  REQUIRE_FALSE(none.ok());
  CHECK(none.error().code == ErrorCode::file_missing);
  CHECK(none.error().try_this.find("--recursive") != std::string::npos);
  CHECK_FALSE(collect_inputs({empty / "no*such"}, false).ok());
}

TEST_CASE("what is not there or leads in a circle is told or left, the rest goes on") {
  const fs::path night = test::scratch_folder("circle");
  for (const char* name : {"f_1.fits", "deeper/g_1.fits"}) make(night / name);
  fs::create_directory_symlink(night, night / "deeper/up");
  fs::create_symlink("self", night / "self");
  fs::create_symlink("nowhere.fits", night / "dangling.fits");
  const auto found = collect_inputs({night, night / "gone.fits"}, true);
  REQUIRE(found.ok());
  CHECK(names(*found) == std::vector<std::string>{"f_1.fits", "g_1.fits"});
  REQUIRE(found->warnings.size() == 1);
  CHECK(found->warnings[0].find("gone.fits: left out") != std::string::npos);
  const auto nothing = collect_inputs({}, false);
  REQUIRE_FALSE(nothing.ok());
  CHECK(nothing.error().found == "no name was given");
}

TEST_CASE("folders and files that may not be read are told, the rest goes on") {
  const fs::path night = test::scratch_folder("locked");
  for (const char* name : {"f_1.fits", "f_2.fits", "closed/g_1.fits"}) make(night / name);
  fs::permissions(night / "f_2.fits", fs::perms::none);
  fs::permissions(night / "closed", fs::perms::none);
  // Root may read everything: the question is asked by a user who may not (65534 is nobody's number on Linux).
  for (fs::path up = night; up != up.root_path(); up = up.parent_path())
    if (::access(up.c_str(), X_OK) != 0) return;
  const pid_t child = ::fork();
  if (child == 0) {
    if (::geteuid() == 0 && ::setuid(65534) != 0) ::_exit(99);
    const auto found = collect_inputs({night}, true), closed = collect_inputs({night / "closed"}, false);
    const bool told = found.ok() && names(*found) == std::vector<std::string>{"f_1.fits"} &&
                      found->warnings.size() == 2 && !closed.ok() &&
                      closed.error().found.find("Permission denied") != std::string::npos;
    ::_exit(told ? 0 : 1);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  fs::permissions(night / "closed", fs::perms::owner_all);
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 0);
}

TEST_CASE("twins in one folder are one exposure whatever the case of their names") {
  const fs::path night = test::scratch_folder("twins");
  for (const char* name : {"IMG_1.fits", "IMG_1.JPG", "img_2.jpg", "IMG_2.fits", "IMG_3.JPG"}) make(night / name);
  const auto found = collect_inputs({night}, false);
  REQUIRE(found.ok());
  CHECK(found->exposures.size() == 3);
  for (const NightInput& i : found->exposures) CHECK(rank_of(i.file) == (i.file.filename() == "IMG_3.JPG" ? 3 : 1));
}
