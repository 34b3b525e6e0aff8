#include "frame/quiet_stderr.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <mutex>

namespace polewright {
namespace {

struct Redirection {
  std::mutex mutex;
  int users = 0;
  int saved = -1;
};

Redirection& redirection() {
  static Redirection r;
  return r;
}

}  // namespace

QuietStderr::QuietStderr() {
  Redirection& r = redirection();
  const std::lock_guard lock(r.mutex);
  if (r.users++ > 0) return;
  r.saved = ::fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3);
  const int nowhere = ::open("/dev/null", O_WRONLY | O_CLOEXEC);
  if (r.saved >= 0 && nowhere >= 0) ::dup2(nowhere, STDERR_FILENO);
  if (nowhere >= 0) ::close(nowhere);
}

QuietStderr::~QuietStderr() {
  Redirection& r = redirection();
  const std::lock_guard lock(r.mutex);
  if (--r.users > 0 || r.saved < 0) return;
  ::dup2(r.saved, STDERR_FILENO);
  ::close(r.saved);
  r.saved = -1;
}

}  // namespace polewright
