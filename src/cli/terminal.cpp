#include "cli/terminal.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

#include "report/words.hpp"

namespace polewright::cli {

bool colour_wanted(int file_descriptor) {
  const char* refused = std::getenv("NO_COLOR");
  return (refused == nullptr || *refused == '\0') && ::isatty(file_descriptor) != 0;
}

Progress progress_line(bool quiet) {
  if (quiet || ::isatty(STDERR_FILENO) == 0) return {};
  return [](const std::string& step, std::size_t done, std::size_t total) {
    fmt::print(stderr, "\r\033[K{} {}/{}", step, done, total);
    std::fflush(stderr);
  };
}

void end_progress(bool quiet) {
  if (quiet || ::isatty(STDERR_FILENO) == 0) return;
  fmt::print(stderr, "\r\033[K");
}

void tell(const std::string& message) {
  // Bytes, not text: a name need not be UTF-8.
  const std::string line = report::printable(message) + "\n";
  std::fwrite(line.data(), 1, line.size(), stderr);
}

void complain(const std::string& message) {
  tell("polewright: " + message);
}

}  // namespace polewright::cli
