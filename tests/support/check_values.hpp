// The published reference values in tests/reference/check-values.json, each with its source.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

namespace polewright::test {

/// One section of the table, for example "4_drift". Fails the test when the section is missing.
const nlohmann::json& check_values(const std::string& section);

/// Folder of a named set of real frames beside the checkout; nothing when it is not there (the test must then say so).
std::optional<std::filesystem::path> real_frames(const std::string& set);

}  // namespace polewright::test
