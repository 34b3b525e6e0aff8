#include "support/json_schema.hpp"

#include <rapidjson/document.h>
#include <rapidjson/schema.h>
#include <rapidjson/stringbuffer.h>

#include <fstream>
#include <iterator>

namespace polewright::test {

std::string schema_violation(const std::string& schema_file, const std::string& json) {
  std::ifstream in(schema_file);
  const std::string text((std::istreambuf_iterator<char>(in)), {});
  rapidjson::Document schema_document, document;
  if (text.empty() || schema_document.Parse(text.c_str()).HasParseError())
    return "schema file unreadable: " + schema_file;
  if (document.Parse(json.c_str()).HasParseError()) return "not JSON";
  const rapidjson::SchemaDocument schema(schema_document);
  rapidjson::SchemaValidator validator(schema);
  if (document.Accept(validator)) return {};
  rapidjson::StringBuffer where;
  validator.GetInvalidDocumentPointer().StringifyUriFragment(where);
  return std::string(validator.GetInvalidSchemaKeyword()) + " at " + where.GetString();
}

}  // namespace polewright::test
