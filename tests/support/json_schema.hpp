// Validates JSON text against a JSON Schema (draft 4) with RapidJSON.
#pragma once

#include <string>

namespace polewright::test {

/// Empty when `json` satisfies the schema in `schema_file`; else what is wrong and where.
std::string schema_violation(const std::string& schema_file, const std::string& json);

}  // namespace polewright::test
