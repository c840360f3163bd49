# Writes OUT, a C++ file with the text of each of ASSETS (name=path) as a string_view.
set(cpp "#include \"report/assets.hpp\"\n
#pragma GCC diagnostic ignored \"-Woverlength-strings\"\n
namespace plexor::report::assets {\n")
foreach(asset IN LISTS ASSETS)
  string(REGEX MATCH "^([a-z_]+)=(.+)$" matched "${asset}")
  set(name "${CMAKE_MATCH_1}")
  file(READ "${CMAKE_MATCH_2}" text)
  if(text MATCHES "[)]PLEXOR_ASSET\"")
    message(FATAL_ERROR "${CMAKE_MATCH_2} holds the delimiter of the embedding")
  endif()
  string(APPEND cpp "\nconst std::string_view ${name} = R\"PLEXOR_ASSET(${text})PLEXOR_ASSET\";\n")
endforeach()
string(APPEND cpp "\n}  // namespace plexor::report::assets\n")
file(WRITE "${OUT}" "${cpp}")
