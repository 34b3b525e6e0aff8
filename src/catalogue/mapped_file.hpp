// A file mapped read-only into memory.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>

namespace polewright {

class MappedFile {
 public:
  /// Nothing when the file cannot be opened or is empty.
  static std::optional<MappedFile> open(const std::filesystem::path& path);
  ~MappedFile();
  MappedFile(MappedFile&& other) noexcept;
  MappedFile& operator=(MappedFile&&) = delete;
  MappedFile(const MappedFile&) = delete;

  [[nodiscard]] std::span<const std::byte> bytes() const { return {data_, size_}; }

 private:
  MappedFile(const std::byte* data, std::size_t size) : data_(data), size_(size) {}
  const std::byte* data_ = nullptr;
  std::size_t size_ = 0;
};

}  // namespace polewright
