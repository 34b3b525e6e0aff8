#include "catalogue/mapped_file.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <utility>

namespace polewright {

std::optional<MappedFile> MappedFile::open(const std::filesystem::path& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) return {};
  struct stat status {};
  void* data = MAP_FAILED;
  if (::fstat(file, &status) == 0 && S_ISREG(status.st_mode) && status.st_size > 0)
    data = ::mmap(nullptr, static_cast<std::size_t>(status.st_size), PROT_READ, MAP_SHARED, file, 0);
  ::close(file);
  if (data == MAP_FAILED) return {};
  return MappedFile(static_cast<const std::byte*>(data), static_cast<std::size_t>(status.st_size));
}

MappedFile::~MappedFile() {
  if (data_ != nullptr) ::munmap(const_cast<std::byte*>(data_), size_);
}

MappedFile::MappedFile(MappedFile&& other) noexcept
    : data_(std::exchange(other.data_, nullptr)), size_(std::exchange(other.size_, 0)) {}

}  // namespace polewright
