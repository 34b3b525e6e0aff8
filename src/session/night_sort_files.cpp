// Moving and copying frames by verdict. An existing file is never overwritten, not even in a race: a hard link or an
// exclusive create decides.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <set>

#include "polewright/night.hpp"

namespace polewright {
namespace {

namespace fs = std::filesystem;

std::string reason() {
  return std::strerror(errno);
}

class Descriptor {
 public:
  explicit Descriptor(int d) : d_(d) {}
  ~Descriptor() {
    if (d_ >= 0) ::close(d_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  [[nodiscard]] int get() const { return d_; }
  [[nodiscard]] bool close() { return ::close(std::exchange(d_, -1)) == 0; }

 private:
  int d_;
};

bool copy_bytes(int from, int to) {
  std::vector<char> piece(1 << 20);
  while (true) {
    const ssize_t got = ::read(from, piece.data(), piece.size());
    if (got == 0) return true;
    if (got < 0) return false;
    for (ssize_t written = 0; written < got;) {
      const ssize_t n = ::write(to, piece.data() + written, static_cast<std::size_t>(got - written));
      if (n < 0) return false;
      written += n;
    }
  }
}

/// Copy under a temporary name, then under its own if that is free. Empty on success.
std::string copy_whole(const fs::path& from, const fs::path& to) {
  const std::string temporary = fmt::format("{}.part{}", to.string(), ::getpid());
  const Descriptor in(::open(from.c_str(), O_RDONLY | O_CLOEXEC));
  if (in.get() < 0) return reason();
  Descriptor out(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644));
  if (out.get() < 0) return reason();
  std::string problem;
  if (!copy_bytes(in.get(), out.get()) || ::fsync(out.get()) != 0 || !out.close()) problem = reason();
  if (problem.empty()) {
    std::error_code ignored;
    fs::last_write_time(temporary, fs::last_write_time(from, ignored), ignored);
    if (::link(temporary.c_str(), to.c_str()) == 0) {
      ::unlink(temporary.c_str());
      return {};
    }
    if (errno == EEXIST) {
      problem = "exists already";
    } else if (fs::exists(to, ignored)) {  // no hard links on this disk
      problem = "exists already";
    } else {
      if (::rename(temporary.c_str(), to.c_str()) == 0) return {};
      problem = reason();
    }
  }
  ::unlink(temporary.c_str());
  return problem;
}

std::string move_whole(const fs::path& from, const fs::path& to) {
  if (::link(from.c_str(), to.c_str()) == 0) return ::unlink(from.c_str()) == 0 ? std::string() : reason();
  if (errno == EEXIST) return "exists already";
  std::string problem = copy_whole(from, to);  // another disk, or one without hard links
  if (problem.empty() && ::unlink(from.c_str()) != 0)
    problem = "copied, but the original could not be removed: " + reason();
  return problem;
}

}  // namespace

std::vector<FileMoved> sort_files(const CheckReport& report, const std::vector<Verdict>& verdicts,
                                  const fs::path& folder, FileAction action, bool rehearse) {
  std::vector<FileMoved> out;
  std::error_code failed;
  if (!rehearse) fs::create_directories(folder, failed);
  std::set<fs::path> taken;
  for (const CheckFrame& frame : report.frames) {
    if (std::find(verdicts.begin(), verdicts.end(), frame.finding.verdict) == verdicts.end()) continue;
    std::vector<std::string> files = frame.companions;
    files.insert(files.begin(), frame.file);
    for (const std::string& name : files) {
      const fs::path from(name), to = folder / from.filename();
      FileMoved moved{from.string(), to.string(), {}};
      if (fs::exists(to, failed) || !taken.insert(to).second)
        moved.problem = "exists already";
      else if (!rehearse)
        moved.problem = action == FileAction::move ? move_whole(from, to) : copy_whole(from, to);
      out.push_back(std::move(moved));
    }
  }
  return out;
}

}  // namespace polewright
