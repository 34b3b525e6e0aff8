#include "cli/terminal.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>

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

void complain(const std::string& message) {
  fmt::print(stderr, "polewright: {}\n", message);
}

}  // namespace polewright::cli
