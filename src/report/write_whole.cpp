#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "polewright/report.hpp"

namespace polewright {

Status write_whole(const std::string& path, const std::string& text) {
  const std::string temporary = path + ".part" + std::to_string(::getpid());
  const auto fail = [&](const char* what) -> Status {
    const std::string reason = std::strerror(errno);
    std::error_code ignored;
    std::filesystem::remove(temporary, ignored);
    return Error{ErrorCode::write_failed, path, std::string(what) + ": " + reason, "a writable place with room",
                 "Choose another place for the file; nothing was left behind"};
  };
  {
    std::ofstream out(temporary, std::ios::binary);
    if (!out) return fail("could not be created");
    out.write(text.data(), static_cast<std::streamsize>(text.size()));
    out.flush();
    if (!out) return fail("could not be written");
  }
  std::error_code renamed;
  std::filesystem::rename(temporary, path, renamed);
  if (renamed) {
    errno = renamed.value();
    return fail("could not be put in place");
  }
  return {};
}

}  // namespace polewright
