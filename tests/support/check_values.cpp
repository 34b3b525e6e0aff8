#include "support/check_values.hpp"

#include <fstream>
#include <stdexcept>

namespace polewright::test {

const nlohmann::json& check_values(const std::string& section) {
  static const nlohmann::json table =
      nlohmann::json::parse(std::ifstream(POLEWRIGHT_SOURCE_DIR "/tests/reference/check-values.json"));
  if (!table.contains(section)) throw std::runtime_error("no section " + section + " in check-values.json");
  return table.at(section);
}

std::optional<std::filesystem::path> real_frames(const std::string& set) {
  const auto folder = std::filesystem::path(POLEWRIGHT_SOURCE_DIR) / "../shared/real_frames" / set;
  if (std::filesystem::is_directory(folder)) return folder;
  return {};
}

}  // namespace polewright::test
