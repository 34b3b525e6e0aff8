// On one disk a move is one rename. Between disks the bytes go under a hidden name first; a hard link then gives the
// finished copy its own name, and the hidden one stays until the original is gone: found beside its twin by the next
// run, it says that the copy there is ours and complete.
#include "session/transfer.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>
#include <string_view>

namespace polewright::session {
namespace {

namespace fs = std::filesystem;

constexpr const char* kThere = "exists already";
constexpr std::size_t kPiece = 1 << 20;

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
  explicit operator bool() const { return d_ >= 0; }

 private:
  int d_;
};

Descriptor open_to_read(const fs::path& file) {
  return Descriptor(::open(file.c_str(), O_RDONLY | O_CLOEXEC));
}

/// As many bytes as there are, up to a piece; −1 on failure. Signals and short reads are no end of file.
ssize_t read_piece(int from, char* piece) {
  std::size_t have = 0;
  while (have < kPiece) {
    const ssize_t got = ::read(from, piece + have, kPiece - have);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return -1;
    if (got == 0) break;
    have += static_cast<std::size_t>(got);
  }
  return static_cast<ssize_t>(have);
}

bool write_piece(int to, const char* piece, std::size_t size) {
  while (size > 0) {
    const ssize_t n = ::write(to, piece, size);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return false;
    piece += n;
    size -= static_cast<std::size_t>(n);
  }
  return true;
}

bool copy_bytes(int from, int to) {
  const auto piece = std::make_unique<char[]>(kPiece);
  while (true) {
    const ssize_t got = read_piece(from, piece.get());
    if (got <= 0) return got == 0;
    if (!write_piece(to, piece.get(), static_cast<std::size_t>(got))) return false;
  }
}

bool same_bytes(const fs::path& a, const fs::path& b) {
  std::error_code failed;
  if (fs::file_size(a, failed) != fs::file_size(b, failed) || failed) return false;
  const Descriptor left = open_to_read(a), right = open_to_read(b);
  if (!left || !right) return false;
  const auto p = std::make_unique<char[]>(kPiece), q = std::make_unique<char[]>(kPiece);
  while (true) {
    const ssize_t n = read_piece(left.get(), p.get()), m = read_piece(right.get(), q.get());
    if (n != m || n < 0) return false;
    if (n == 0) return true;
    if (std::memcmp(p.get(), q.get(), static_cast<std::size_t>(n)) != 0) return false;
  }
}

/// What stands under a name itself, links not followed.
bool look_at(const fs::path& name, struct stat& out) {
  return ::lstat(name.c_str(), &out) == 0;
}

/// Both names lead to one file on the disk (two hard links, or one name written in two ways).
bool one_file(const fs::path& a, const fs::path& b) {
  struct stat u {
  }, v{};
  return look_at(a, u) && look_at(b, v) && u.st_dev == v.st_dev && u.st_ino == v.st_ino;
}

/// Hidden, so that no folder's search takes it for a frame; the same for every run, so that the next one finds it; not
/// longer than names may be (255 bytes).
fs::path hidden_name(const fs::path& to) {
  return to.parent_path() / ("." + to.filename().string().substr(0, 240) + ".part");
}

/// Names reach the disk before what they replace goes; a file system that cannot do that is no reason to stop.
void flush_folder(const fs::path& folder) {
  const Descriptor d(::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (d) (void)::fsync(d.get());
}

/// `from` becomes `to` in one step. False with errno set, also when the disk cannot do that without overwriting.
bool rename_if_free(const fs::path& from, const fs::path& to) {
  return ::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0;
}

/// The finished copy under its own name. Empty on success.
std::string publish(const fs::path& hidden, const fs::path& to) {
  if (::link(hidden.c_str(), to.c_str()) == 0) return {};
  if (errno == EEXIST) return kThere;
  if (rename_if_free(hidden, to)) return {};  // no hard links on this disk
  if (errno == EEXIST) return kThere;
  struct stat there {};
  if (look_at(to, there)) return kThere;
  return ::rename(hidden.c_str(), to.c_str()) == 0 ? std::string() : reason();
}

/// A new hidden file that is this run's alone: locked until it is closed. One left by a killed run is unlinked, never
/// written to: it may be a second name of a finished copy. −1 when another run is writing it, or with errno set.
int open_hidden(const fs::path& hidden) {
  for (int attempt = 0; attempt < 2; ++attempt) {
    const int made = ::open(hidden.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    const int d = made >= 0 || errno != EEXIST ? made : ::open(hidden.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (d < 0) return -1;
    struct stat mine {
    }, named{};
    const bool locked = ::flock(d, LOCK_EX | LOCK_NB) == 0 || errno != EWOULDBLOCK;  // some disks know no locks
    const bool still_there = ::fstat(d, &mine) == 0 && look_at(hidden, named) && mine.st_ino == named.st_ino;
    if (made >= 0 && locked && still_there) return d;
    if (made < 0 && locked && still_there) ::unlink(hidden.c_str());
    ::close(d);
    if (!locked || !still_there) break;
  }
  errno = EBUSY;
  return -1;
}

/// A whole copy of `from` in the open hidden file, as old as the original.
std::string fill(int hidden, const fs::path& from) {
  const Descriptor in = open_to_read(from);
  struct stat original {};
  if (!in || ::fstat(in.get(), &original) != 0 || ::ftruncate(hidden, 0) != 0 || !copy_bytes(in.get(), hidden))
    return reason();
  const std::array<timespec, 2> times{original.st_atim, original.st_mtim};
  (void)::futimens(hidden, times.data());
  (void)::fchmod(hidden, original.st_mode & 0777);
  return ::fsync(hidden) == 0 ? std::string() : reason();
}

std::string remove_original(const fs::path& from) {
  return ::unlink(from.c_str()) == 0 ? std::string() : "copied, but the original could not be removed: " + reason();
}

/// Where a link at `from` leads, as a name that holds anywhere.
fs::path target_of(const fs::path& from) {
  std::error_code failed;
  return fs::absolute(from, failed).parent_path() / fs::read_symlink(from, failed);  // an absolute target stays
}

/// A link that leads to the same file from its new place.
std::string by_link(const fs::path& from, const fs::path& to, FileAction action) {
  if (::symlink(target_of(from).c_str(), to.c_str()) != 0) return errno == EEXIST ? kThere : reason();
  return action == FileAction::move ? remove_original(from) : std::string();
}

std::string by_copy(const fs::path& from, const fs::path& to, FileAction action) {
  const fs::path folder = from.parent_path();
  if (action == FileAction::move && ::access(folder.empty() ? "." : folder.c_str(), W_OK) != 0)
    return "cannot take the original away: " + reason();
  const fs::path hidden = hidden_name(to);
  const Descriptor out(open_hidden(hidden));
  if (!out) return errno == EBUSY ? "is being written by another run" : reason();
  std::string problem = fill(out.get(), from);
  if (problem.empty()) problem = publish(hidden, to);
  if (problem.empty() && action == FileAction::move) {
    flush_folder(to.parent_path());
    problem = remove_original(from);
  }
  ::unlink(hidden.c_str());
  return problem;
}

enum class Standing { free, done_before, someone_elses };

/// What stands under the new name: nothing, what a run that was cut short put there, or another file.
Standing standing_at(const fs::path& from, const fs::path& to, FileAction action) {
  struct stat source {
  }, there{};
  if (!look_at(to, there)) return Standing::free;
  if (!look_at(from, source) || one_file(from, to)) return Standing::someone_elses;
  bool ours = action == FileAction::copy || one_file(hidden_name(to), to);
  if (S_ISLNK(there.st_mode)) {
    std::error_code failed;
    ours = S_ISLNK(source.st_mode) && fs::read_symlink(to, failed) == target_of(from);
  }
  return ours && same_bytes(from, to) ? Standing::done_before : Standing::someone_elses;
}

}  // namespace

std::string transfer_refused(const fs::path& from, const fs::path& to, FileAction action) {
  return standing_at(from, to, action) == Standing::someone_elses ? kThere : "";
}

std::string transfer(const fs::path& from, const fs::path& to, FileAction action) {
  struct stat original {};
  if (!look_at(from, original)) return reason();
  switch (standing_at(from, to, action)) {
    case Standing::someone_elses:
      return kThere;
    case Standing::done_before: {
      std::string problem = action == FileAction::move ? remove_original(from) : std::string();
      if (one_file(hidden_name(to), to)) ::unlink(hidden_name(to).c_str());
      return problem;
    }
    case Standing::free:
      break;
  }
  if (S_ISLNK(original.st_mode)) return by_link(from, to, action);
  if (action == FileAction::copy) return by_copy(from, to, action);
  if (rename_if_free(from, to)) return {};
  if (errno == EXDEV) return by_copy(from, to, action);
  if (errno == EEXIST) return kThere;
  if (errno != EINVAL && errno != ENOSYS && errno != EOPNOTSUPP) return reason();
  // A disk that knows no rename that spares what is there. The two names of one file that a kill leaves here are told
  // as "exists already": nothing is lost.
  if (::link(from.c_str(), to.c_str()) == 0) return remove_original(from);
  return errno == EEXIST ? kThere : by_copy(from, to, action);
}

void tidy_after_killed(const fs::path& folder) {
  std::error_code failed;
  for (fs::directory_iterator it(folder, failed), end; !failed && it != end; it.increment(failed)) {
    const std::string name = it->path().filename().string();
    constexpr std::string_view kEnding = ".part";
    if (!name.starts_with('.') || !name.ends_with(kEnding) || name.size() < 2 + kEnding.size()) continue;
    if (one_file(it->path(), folder / name.substr(1, name.size() - 1 - kEnding.size()))) ::unlink(it->path().c_str());
  }
}

}  // namespace polewright::session
