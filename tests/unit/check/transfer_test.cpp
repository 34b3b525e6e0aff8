// Moving and copying one file, whatever happens meanwhile: kills, a full disk, files in the way.
#include "session/transfer.hpp"

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <csignal>
#include <fstream>
#include <map>
#include <random>

#include "support/program.hpp"

using namespace polewright;
using session::transfer;
using session::transfer_refused;
namespace fs = std::filesystem;

namespace {

void write(const fs::path& file, const std::string& text) {
  fs::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
}

std::size_t entries(const fs::path& folder) {
  return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

/// Runs `work` in a process of its own; its exit status, or −1 when it was killed after that many microseconds.
template <class Work>
int in_child(const Work& work, std::optional<unsigned> kill_after_us = {}) {
  const pid_t child = ::fork();
  if (child == 0) ::_exit(work());
  if (kill_after_us) {
    ::usleep(*kill_after_us);
    ::kill(child, SIGKILL);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/// A folder on another disk than the scratch folders, or nothing where there is none.
struct OtherDisk {
  fs::path folder;
  OtherDisk() {
    std::error_code none;
    if (!fs::exists("/dev/shm", none)) return;
    folder = fs::path("/dev/shm") / ("polewright_transfer_" + std::to_string(::getpid()));
    fs::create_directories(folder);
  }
  ~OtherDisk() {
    std::error_code none;
    if (!folder.empty()) fs::remove_all(folder, none);
  }
  OtherDisk(const OtherDisk&) = delete;
  OtherDisk& operator=(const OtherDisk&) = delete;
};

std::map<std::string, std::string> some_files() {
  std::map<std::string, std::string> files;
  std::mt19937 random(11);
  for (int i = 0; i < 5; ++i) {
    std::string bytes(3'000'000, '\0');
    for (std::size_t at = 0; at < bytes.size(); at += 64) bytes[at] = static_cast<char>(random());
    files["f_" + std::to_string(i) + ".fits"] = std::move(bytes);
  }
  return files;
}

/// Kills transfers at chance moments; what counts is that each file is whole under one of its names, or under both, and
/// that going on finishes. Returns how many runs died of it.
int kill_again_and_again(const fs::path& from, const fs::path& to, FileAction action, unsigned seed) {
  const auto files = some_files();
  std::mt19937 random(seed);
  int killed = 0;
  bool finished = true;
  for (int round = 0; round < 24; ++round) {
    if (finished) {
      fs::remove_all(from);
      fs::remove_all(to);
      fs::create_directories(to);
      for (const auto& [name, bytes] : files) write(from / name, bytes);
    }
    const auto work = [&] {
      int problems = 0;
      for (const auto& [name, bytes] : files)
        if (fs::exists(from / name)) problems += transfer(from / name, to / name, action).empty() ? 0 : 1;
      session::tidy_after_killed(to);
      return problems;
    };
    const bool last = round == 23;
    const int status = last ? in_child(work) : in_child(work, static_cast<unsigned>(random() % 12000));
    killed += status < 0 ? 1 : 0;
    finished = status == 0;
    CHECK(status <= 0);
    for (const auto& [name, bytes] : files) {
      const bool here = fs::exists(from / name), there = fs::exists(to / name);
      CHECK((here || there));
      if (action == FileAction::copy) CHECK(here);
      if (here) CHECK((test::read_file(from / name) == bytes));
      if (there) CHECK((test::read_file(to / name) == bytes));
      if (finished) CHECK((there && here == (action == FileAction::copy)));
    }
    if (finished) CHECK(entries(to) == files.size());  // nothing hidden is left either
  }
  CHECK(finished);
  return killed;
}

}  // namespace

TEST_CASE("killed while files go to another disk: none lost, none in part, the next run finishes") {
  const OtherDisk other;
  if (other.folder.empty()) return;
  const fs::path folder = test::scratch_folder("kill_disks");
  // A quick machine finishes some runs before the kill comes; that a third is hit says that the moments are the right
  // ones, not that the code is.
  CHECK(kill_again_and_again(folder / "from", other.folder / "to", FileAction::move, 1) >= 8);
  CHECK(kill_again_and_again(folder / "from", other.folder / "to", FileAction::copy, 2) >= 8);
}

TEST_CASE("killed while files go to another folder of the disk: none lost, the next run finishes") {
  const fs::path folder = test::scratch_folder("kill_one_disk");
  (void)kill_again_and_again(folder / "from", folder / "to", FileAction::move, 3);  // a rename is over before any kill
  CHECK(kill_again_and_again(folder / "from", folder / "to", FileAction::copy, 4) >= 8);
}

TEST_CASE("killed between the copy and taking the original away: the next run takes it away") {
  const fs::path folder = test::scratch_folder("between"), from = folder / "a/f.fits", to = folder / "b/f.fits";
  write(from, "frame");
  write(to, "frame");
  SECTION("the copy is known as ours by its hidden second name") {
    fs::create_hard_link(to, folder / "b/.f.fits.part");
    CHECK(transfer_refused(from, to, FileAction::move).empty());
    CHECK(transfer(from, to, FileAction::move).empty());
    CHECK_FALSE(fs::exists(from));
    CHECK(test::read_file(to) == "frame");
    CHECK(entries(folder / "b") == 1);
  }
  SECTION("killed once more: the second name goes, the file stays") {
    fs::create_hard_link(to, folder / "b/.f.fits.part");
    session::tidy_after_killed(folder / "b");
    CHECK(entries(folder / "b") == 1);
    CHECK(test::read_file(to) == "frame");
  }
  SECTION("a copy of someone else's is no reason to remove anything, were it the same to the last byte") {
    CHECK(transfer(from, to, FileAction::move) == "exists already");
    CHECK(fs::exists(from));
    CHECK(transfer(from, to, FileAction::copy).empty());  // there already, as asked
  }
  SECTION("ours, but the original is another frame by now") {
    fs::create_hard_link(to, folder / "b/.f.fits.part");
    write(from, "later");
    CHECK(transfer(from, to, FileAction::move) == "exists already");
    CHECK(transfer(from, to, FileAction::copy) == "exists already");
    CHECK(test::read_file(from) == "later");
    CHECK(test::read_file(to) == "frame");
  }
  SECTION("the finished copy got another name meanwhile: what is left hidden is not written to") {
    fs::create_hard_link(to, folder / "b/.f.fits.part");
    fs::rename(to, folder / "b/renamed.fits");
    write(from, "later");
    CHECK(transfer(from, to, FileAction::copy).empty());
    CHECK(test::read_file(folder / "b/renamed.fits") == "frame");
    CHECK(test::read_file(to) == "later");
    CHECK(entries(folder / "b") == 2);
  }
}

TEST_CASE("what a killed run left of a file that only may be read is no obstacle") {
  const OtherDisk other;
  if (other.folder.empty()) return;
  const fs::path from = other.folder / "a/f.fits", to = other.folder / "b/f.fits";
  write(from, "frame");
  write(to.parent_path() / ".f.fits.part", "fra");
  fs::permissions(to.parent_path() / ".f.fits.part", fs::perms::owner_read);
  fs::permissions(from, fs::perms::owner_read);
  if (::geteuid() == 0)  // root may write to everything: the owner is nobody (65534 on Linux)
    for (const fs::path& p : {from, to.parent_path() / ".f.fits.part", from.parent_path(), to.parent_path()})
      REQUIRE(::chown(p.c_str(), 65534, 65534) == 0);
  const int status = in_child([&] {
    if (::geteuid() == 0 && ::setuid(65534) != 0) return 99;
    return transfer(from, to, FileAction::copy).empty() ? 0 : 1;
  });
  CHECK(status == 0);
  CHECK(test::read_file(to) == "frame");
  CHECK(entries(to.parent_path()) == 1);
}

TEST_CASE("a file moved onto itself stays") {
  const fs::path folder = test::scratch_folder("itself"), file = folder / "f.fits";
  write(file, "frame");
  fs::create_directory_symlink(folder, folder / "same");
  for (const FileAction action : {FileAction::move, FileAction::copy}) {
    CHECK(transfer(file, file, action) == "exists already");
    CHECK(transfer(file, folder / "same/f.fits", action) == "exists already");
    CHECK(transfer_refused(file, folder / "same/f.fits", action) == "exists already");
  }
  fs::create_directories(folder / "links");
  fs::create_symlink(file, folder / "links/f.fits");  // the name there is a link to the very file
  CHECK(transfer(file, folder / "links/f.fits", FileAction::move) == "exists already");
  CHECK(test::read_file(file) == "frame");
}

TEST_CASE("links stay links to the same file, times and permissions go along, long names fit") {
  const OtherDisk other;
  const fs::path folder = test::scratch_folder("kinds"), to = folder / "to";
  fs::create_directories(to);
  write(folder / "store/f.fits", "frame");
  write(folder / "night/.keep", "");
  fs::create_symlink("../store/f.fits", folder / "night/f.fits");
  CHECK(transfer(folder / "night/f.fits", to / "f.fits", FileAction::move).empty());
  CHECK(fs::is_symlink(to / "f.fits"));
  CHECK(test::read_file(to / "f.fits") == "frame");
  CHECK_FALSE(fs::exists(fs::symlink_status(folder / "night/f.fits")));
  CHECK(fs::exists(folder / "store/f.fits"));

  std::string longest(255, 'w');  // POSIX NAME_MAX on Linux: 255 bytes
  write(folder / longest, "frame");
  fs::permissions(folder / longest, fs::perms::owner_read);
  const auto time = fs::last_write_time(folder / longest);
  const fs::path away = other.folder.empty() ? to : other.folder;
  CHECK(transfer(folder / longest, away / longest, FileAction::copy).empty());
  CHECK(transfer(folder / longest, away / longest, FileAction::copy).empty());
  CHECK(fs::last_write_time(away / longest) == time);
  CHECK(fs::status(away / longest).permissions() == fs::perms::owner_read);
}

TEST_CASE("a full disk leaves the original and nothing else") {
  // A file size limit makes write() fail as a full disk does (POSIX setrlimit, RLIMIT_FSIZE, with SIGXFSZ ignored).
  const OtherDisk other;
  if (other.folder.empty()) return;
  const fs::path from = fs::path(test::scratch_folder("full_disk")) / "f.fits", to = other.folder / "f.fits";
  const std::string bytes = some_files().begin()->second;
  write(from, bytes);
  for (const FileAction action : {FileAction::move, FileAction::copy}) {
    const int refused = in_child([&] {
      ::signal(SIGXFSZ, SIG_IGN);
      const rlimit limit{2'000'000, 2'000'000};
      ::setrlimit(RLIMIT_FSIZE, &limit);
      return transfer(from, to, action) == "File too large" ? 7 : 0;
    });
    CHECK(refused == 7);
    CHECK((test::read_file(from) == bytes));
    CHECK(fs::is_empty(other.folder));
  }
}
