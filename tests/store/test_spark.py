"""Every question, unchanged, on Spark through ibis's own backend: the answers of DuckDB, to the digit.

The Parquet files lie in a folder, or in a store that speaks S3. The jars that read S3 are not in Spark's wheel, so
pyarrow reads them there, for DuckDB as for Spark.
"""

import importlib.util
import shutil
import sys
from pathlib import Path

import duckdb
import ibis
import pytest
from synthetic_visits import invented

from handsfree.desk.asked import AskedOf
from handsfree.desk.questions import QUESTIONS, answer, told_of
from handsfree.store.embedded import open_embedded
from handsfree.store.questioned import QUESTIONED
from tests.object_store import KEYS, object_store

pytestmark = pytest.mark.slow("Spark starts a Java machine and compiles each question")
PREPARED = Path(sys.prefix, "ready-with-engines").exists()  # by .ci/prepare: then it must be there
if not PREPARED and (importlib.util.find_spec("pyspark") is None or shutil.which("java") is None):
    pytest.skip("Spark is not installed: it is no part of the fast stage", allow_module_level=True)

VISITS = 120
SETTINGS = {
    # Small tables on one machine: one part a step, no compiling of queries to bytecode, no page of its own.
    "spark.sql.shuffle.partitions": "1",
    "spark.default.parallelism": "1",
    "spark.sql.codegen.wholeStage": "false",
    "spark.sql.adaptive.enabled": "false",
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.driver.host": "127.0.0.1",
    "spark.driver.bindAddress": "127.0.0.1",
    "spark.driver.memory": "600m",
    "spark.driver.extraJavaOptions": "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC -Xshare:auto",
    # A column `day` is a text; a folder's name never makes it a date.
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",
}


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """An embedded store with invented visits in it, and the folder of its Parquet files."""
    file = tmp_path_factory.mktemp("spark") / "store.sqlite"
    store = open_embedded(file)
    visits = list(invented(VISITS, gates=6, days=100))
    store.note([noted for noted, _ in visits])
    for noted, examined in visits:
        store.keep(noted.key, examined)
    store.rows_of("SELECT 1")
    yield store, file.with_suffix(".parts")
    store.close()


@pytest.fixture(scope="module")
def spark(kept, tmp_path_factory):
    """One session for all questions, over those files as they lie there."""
    from pyspark.sql import SparkSession  # noqa: PLC0415 - where it is there

    building = SparkSession.builder.master("local[1]")
    for name, value in {**SETTINGS, "spark.sql.warehouse.dir": str(tmp_path_factory.mktemp("warehouse"))}.items():
        building = building.config(name, value)
    session = building.getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    for table in QUESTIONED:
        session.read.parquet(*map(str, sorted(kept[1].glob(f"*-{table}.parquet")))).createOrReplaceTempView(table)
    yield session
    session.stop()


@pytest.mark.filterwarnings("ignore")  # of Spark and its bridge to Java, about themselves
def test_every_question_gives_the_same_answer_on_spark(kept, spark):
    """Rows, their order, and every digit; `test_engines.py` holds the other engines to the same."""
    asking = ibis.pyspark.connect(spark)
    for name, question in QUESTIONS.items():
        for of in (AskedOf(), AskedOf(office="office 1", since="2024-02-01"))[: 2 if name == "trend" else 1]:
            rows = [tuple(row) for row in spark.sql(str(asking.compile(question.ask(of)))).collect()]
            expected = answer(kept[0], question, of=of)
            assert told_of(question, rows) == expected, name
            assert expected.rows or name == "withdrawn" or of.office, name


@pytest.fixture(scope="module")
def in_objects(kept, tmp_path_factory):
    """The same files as objects of a real store, opened there by pyarrow: a data set for each table."""
    from pyarrow import dataset, fs  # noqa: PLC0415 - comes with Spark, which is no part of the fast stage

    with object_store(tmp_path_factory.mktemp("weed")) as address:
        scheme, _, where = address.partition("://")
        bucket = fs.S3FileSystem(
            access_key=KEYS["accessKey"], secret_key=KEYS["secretKey"], region="local", endpoint_override=where,
            scheme=scheme,
        )  # fmt: skip
        fs.copy_files(str(kept[1]), "visits/parts", fs.LocalFileSystem(), bucket)
        names = [each.path for each in bucket.get_file_info(fs.FileSelector("visits/parts"))]
        yield {
            table: dataset.dataset(
                sorted(name for name in names if name.endswith(f"-{table}.parquet")), filesystem=bucket
            )
            for table in QUESTIONED
        }


def test_every_question_gives_the_same_answer_over_objects(kept, in_objects):
    """DuckDB asks what pyarrow reads from the bucket."""
    base = duckdb.connect()
    for table, data in in_objects.items():
        base.register(table, data)
    for name, question in QUESTIONS.items():
        rows = base.execute(str(ibis.to_sql(question.ask(AskedOf()), dialect="duckdb"))).fetchall()
        assert told_of(question, rows) == answer(kept[0], question), name


@pytest.mark.filterwarnings("ignore")  # of Spark and its bridge to Java, about themselves
def test_spark_answers_over_objects_what_it_answers_over_files(kept, in_objects, spark):
    """Two questions that read three tables of five: what pyarrow hands over has the kinds that Parquet has."""
    for table, data in in_objects.items():
        spark.createDataFrame(data.to_table()).createOrReplaceTempView(table)
    asking = ibis.pyspark.connect(spark)
    for name in ("trend", "stops"):
        question = QUESTIONS[name]
        rows = [tuple(row) for row in spark.sql(str(asking.compile(question.ask(AskedOf())))).collect()]
        assert told_of(question, rows) == answer(kept[0], question), name
