# Turns the files lib/words/language_CODE.txt into C. add_languages(TARGET NAME FILE…) adds to TARGET
#   NAME.c   `wording_languages`, one row a file in the order given, the first of them the usual one
# A key is a member of struct wording_texts; a word in capitals in it is the place in an array, by the
# enum that the array goes by. An unknown key does not compile; a missing one fails test_languages.
function(add_languages target name)
    set(source "#include \"words/wording_texts.h\"\n")
    foreach(file ${ARGN})
        set_property(DIRECTORY ${CMAKE_SOURCE_DIR} APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${file})
        string(REGEX REPLACE ".*language_([a-z]+)\\.txt$" "\\1" code ${file})
        file(READ ${file} text)
        string(PREPEND text "\n")
        string(REPLACE "\"" "\\\"" text "${text}")
        string(REGEX REPLACE "\n#[^\n]*" "" text "${text}")
        foreach(array conditions=CONDITION_ advice=ADVICE_ quantities=QUANTITY_ causes=CAUSE_ cause_actions=CAUSE_
                reasoning=CAUSE_ facts=FACT_ methods=FAN_METHOD_ items=VISIT_ subject_prefix=WORDING_
                plain_suffix=WORDING_ again=WORDING_ statuses=WORDING_ plain_statuses=WORDING_ home=HOME_ letter=LETTER_
                page=PAGE_ complaints=COMPLAINT_
                confident=WORDING_ calendar.priorities=PRIORITY_)
            string(REPLACE "=" ";" array ${array})
            list(GET array 0 member)
            list(GET array 1 prefix)
            string(REPLACE "." "\\." pattern ${member})
            string(REGEX REPLACE "\n${pattern}\\.([A-Z_0-9]+)" "\n${member}[${prefix}\\1]" text "${text}")
        endforeach()
        string(REGEX REPLACE "\nmonths\\.([0-9]+)" "\nmonths[\\1 - 1]" text "${text}")
        string(REGEX REPLACE "\n([^\n=]+[^\n= ]) = ([^\n]*)" "\n    .\\1 = \"\\2\"," text "${text}")
        string(APPEND source "\nstatic const struct wording_texts texts_${code} = {${text}};\n")
        string(APPEND rows "    {\"${code}\", &texts_${code}},\n")
    endforeach()
    string(APPEND source "\nconst struct wording_language wording_languages[] = {\n${rows}};\n"
           "const size_t wording_language_count = sizeof wording_languages / sizeof wording_languages[0];\n")
    # file(CONFIGURE) writes only what changed, so that nothing else is compiled again.
    set(path ${CMAKE_BINARY_DIR}/languages/${name}.c)
    file(CONFIGURE OUTPUT ${path} CONTENT "${source}" @ONLY)
    target_sources(${target} PRIVATE ${path})
endfunction()

# The keys home.NAME, letter.NAME and page.NAME of a file as enums: enum home_text with HOME_NAME and
# HOME_TEXT_COUNT in words/home_text_names.h, and so on.
function(add_text_names target file)
    set_property(DIRECTORY ${CMAKE_SOURCE_DIR} APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${file})
    file(READ ${file} text)
    foreach(member home letter page)
        string(TOUPPER ${member} prefix)
        string(REGEX MATCHALL "\n${member}\\.[A-Z_0-9]+ = " names "${text}")
        list(TRANSFORM names REPLACE "\n${member}\\.([A-Z_0-9]+) = " "    ${prefix}_\\1,\n")
        list(JOIN names "" names)
        file(CONFIGURE OUTPUT ${CMAKE_BINARY_DIR}/languages/words/${member}_text_names.h
             CONTENT "#pragma once\nenum ${member}_text {\n${names}    ${prefix}_TEXT_COUNT\n};\n" @ONLY)
    endforeach()
    target_include_directories(${target} PUBLIC ${CMAKE_BINARY_DIR}/languages)
endfunction()

# The header complaints.h: of each text `complaints.NAME` of a file COMPLAINT_NAME, its place in the array, and
# SAY_NAME, the text as a format of printf with a %s for each word in braces.
function(write_complaints file path)
    set_property(DIRECTORY ${CMAKE_SOURCE_DIR} APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${file})
    file(READ ${file} text)
    string(PREPEND text "\n")
    string(REPLACE "\"" "\\\"" text "${text}")
    string(REGEX REPLACE "\n#[^\n]*" "" text "${text}")
    string(REGEX REPLACE "\ncomplaints\\.([A-Z_0-9]+) = ([^\n]*)" "\n#define SAY_\\1 \"\\2\"" formats "${text}")
    string(REGEX REPLACE "\n[^#\n][^\n]*" "" formats "${formats}")
    string(REGEX REPLACE "\n+" "\n" formats "${formats}")
    string(REGEX REPLACE "{[a-z]}" "%s" formats "${formats}")
    string(REGEX REPLACE "\n#define SAY_([A-Z_0-9]+) [^\n]*" "    COMPLAINT_\\1,\n" names "${formats}")
    file(CONFIGURE OUTPUT ${path} CONTENT "#ifndef COMPLAINTS_H\n#define COMPLAINTS_H\n
enum complaint {\n${names}    COMPLAINT_COUNT\n};\n${formats}\n#endif\n" @ONLY)
endfunction()

file(GLOB language_files CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/lib/words/language_*.txt)
list(FILTER language_files EXCLUDE REGEX "language_en\\.txt$")
list(PREPEND language_files ${CMAKE_SOURCE_DIR}/lib/words/language_en.txt)
add_text_names(core ${CMAKE_SOURCE_DIR}/lib/words/language_en.txt)
write_complaints(${CMAKE_SOURCE_DIR}/lib/words/language_en.txt ${CMAKE_BINARY_DIR}/languages/complaints.h)
add_languages(core languages ${language_files})
